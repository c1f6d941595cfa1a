"""A viewport's life by its counter, on the page of its inspection."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.urls import reverse

from facility import services
from maintenance.models import Counter, CounterReading, MeterReplacement, WorkRecord
from maintenance.working.every import KINDS
from maintenance.working.kinds import Look
from tests import make
from tests.maintenance.working.support import signed_in, typed_work
from tests.maintenance.working.test_work_pages import address

pytestmark = pytest.mark.django_db


def test_a_viewport_takes_its_cycles_from_the_counter_over_a_replaced_meter() -> None:
    """Worked case: in service 1 Mar 2019, 7300 cycles on 1 Mar 2026, 10 years or 10 000 cycles: 1 Oct 2028."""
    site = make.site(zone="Europe/Oslo")
    client = signed_in(make.user(site, "maintainer"))
    port = make.equipment(site, tag="VP-1", kind="viewport")
    counter = services.add(Counter(site=site, key="cycles", name="Cycles", unit="cycles"), by=make.BY)
    rule = make.rule(port, name="life", months=0, counter=counter, count_life=10_000)
    for day, value in ((datetime(2019, 3, 1, 12, tzinfo=UTC), 0), (datetime(2026, 3, 1, 12, tzinfo=UTC), 300)):
        services.add(CounterReading(counter=counter, read_at=day, value=value, read_by="x"), by=make.BY)
    services.add(MeterReplacement(counter=counter, replaced_on=date(2024, 1, 1), last_of_old=7000, first_of_new=0,
                                  why="broken", done_by="x"), by=make.BY)  # fmt: skip
    flaws = dict.fromkeys([f"r_{one.name}" for one in KINDS["viewport"].readings if not isinstance(one, Look)], "0")
    typed = typed_work(
        "viewport", r_seat="good", d_fabricated_on="1 Mar 2019", d_installed_on="1 Mar 2019", d_stored_as_asked="on",
        done_on="1 Mar 2026", **flaws,
    )  # fmt: skip
    shown = client.get(address(port, "viewport", rule=rule.pk)).context["form"]["count"].help_text
    assert "Last 7300.00, on 1 Mar 2026." in shown
    assert client.post(address(port, "viewport"), typed).status_code == 302
    lines = {label: value for label, value, _unit in WorkRecord.objects.get().computed["lines"]}
    assert (lines["Ends by cycles"], lines["First of the two"]) == ("2028-10-01", "2028-10-01")
    page = client.get(reverse("maintenance:work", args=[site.key, WorkRecord.objects.get().pk])).content.decode()
    assert "1 Oct 2028" in page
