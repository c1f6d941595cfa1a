"""The generic page of records does not get round the second look."""

from __future__ import annotations

from datetime import date

import pytest
from django.urls import reverse

from facility import events
from maintenance.models import WorkRecord
from maintenance.services import confirm_days, record_work
from tests import make
from tests.maintenance.working.support import signed_in

pytestmark = pytest.mark.django_db


def test_a_correction_on_the_generic_page_asks_for_the_second_look_again() -> None:
    site = make.site(zone="Europe/Oslo")
    item = make.equipment(site)
    work = record_work(
        WorkRecord(equipment=item, done_on=date(2026, 3, 12), done_by="Lab", needs_second_look=True),
        by=events.system("first"),
    )
    confirm_days(work, (date(2026, 3, 12), None), by=events.system("second"), shown_version=1)
    client = signed_in(make.user(site, "maintainer"))
    typed = {
        "equipment": item.pk, "done_on": "13 Mar 2026", "result": "passed", "done_by": "Lab", "note": "", "reason": "misread",
        "shown_version": work.row_version,
    }  # fmt: skip
    assert client.post(reverse("records:correct", args=[site.key, "work", work.pk]), typed).status_code == 302
    new = WorkRecord.objects.get(retired_at=None)
    assert (new.done_on, new.needs_second_look, new.second_look_by) == (date(2026, 3, 13), True, "")
