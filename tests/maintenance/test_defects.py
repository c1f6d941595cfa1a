"""Defects: tag numbers, correction, return to service with a witness, the tag, what a check hands over."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
import segno
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from facility import events, services
from facility.models import Answer, Check, CheckSheet, Event, SheetVersion, Site
from facility.services import ChangedMeanwhileError
from maintenance.models import Defect, WorkRecord
from maintenance.services import Return, correct_defect, raise_defect, return_to_service
from tests import make
from tests.maintenance.working.support import repaired, return_test

pytestmark = pytest.mark.django_db
LATER = make.NOON + timedelta(hours=3)


def defect(site: Site, **fields: Any) -> Defect:
    item = fields.pop("equipment", None) or make.equipment(site)
    row = Defect(
        **{"site": site, "equipment": item, "what": "reads high", "effect": "stops", "found_at": make.NOON} | fields
    )
    return raise_defect(row, by=make.BY)


def signed_in(user: Any) -> Client:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_tag_numbers_run_on_within_a_site_and_are_never_used_twice() -> None:
    here, there = make.site(), make.site()
    assert [defect(here).number, defect(here).number, defect(there).number] == [1, 2, 1]
    services.retire(Defect.objects.get(site=here, number=2), by=make.BY, reason="Not a defect")
    assert defect(here).number == 3


def test_a_correction_keeps_the_number_and_one_event_tells_both_effects() -> None:
    site = make.site()
    old = defect(site)
    new = Defect(site=site, equipment=old.equipment, what="reads high", effect="limits", found_at=old.found_at)
    before = Event.objects.count()
    stored = correct_defect(old, new, by=make.BY, reason="only a little")
    assert (stored.number, stored.effect, Event.objects.count()) == (old.number, "limits", before + 1)
    with pytest.raises(ChangedMeanwhileError):
        correct_defect(old, Defect(site=site, equipment=old.equipment, what="x", effect="watch", found_at=old.found_at),
                       by=make.BY, reason="again")  # fmt: skip


def test_an_item_of_another_site_cannot_be_tagged() -> None:
    with pytest.raises(ValidationError, match="another site"):
        defect(make.site(), equipment=make.equipment(make.site()))


@pytest.mark.parametrize(
    ("back", "said"),
    [
        (Return(LATER, "new seal, tested", ""), "Name a witness"),
        (Return(LATER, "new seal, tested", "System:Test"), "another person"),
        (Return(LATER, "  ", "J. Quill"), "how it was tested"),
        (Return(make.NOON - timedelta(minutes=1), "new seal", "J. Quill"), "before the defect was found"),
    ],
)
def test_a_return_without_witness_work_or_sense_is_refused(back: Return, said: str) -> None:
    row = defect(make.site())
    repaired(row)
    with pytest.raises(ValidationError, match=said):
        return_to_service(row, replace(back, test=return_test(row)), by=make.BY, shown_version=1)
    row.refresh_from_db()
    assert row.returned_at is None


def test_a_return_with_a_witness_ends_the_defect_once() -> None:
    row = defect(make.site())
    repaired(row)
    back = Return(LATER, "Tested to 60 fsw.", "J. Quill", test=return_test(row))
    return_to_service(row, back, by=make.BY, shown_version=1)
    row.refresh_from_db()
    assert (row.returned_at, row.returned_by, row.witness) == (LATER, "system:test", "J. Quill")
    assert row.return_test == back.test
    assert Event.objects.latest("seq").action == "returned to service"
    with pytest.raises(ValidationError, match="no longer open"):
        return_to_service(row, Return(LATER, "again", "J. Quill"), by=make.BY, shown_version=2)
    with pytest.raises(ValidationError, match="stays as it is"):
        correct_defect(row, Defect(site=row.site, equipment=row.equipment, what="x", effect="watch", found_at=LATER),
                       by=make.BY, reason="x")  # fmt: skip


def test_without_a_witness_the_reason_is_kept() -> None:
    row = defect(make.site())
    repaired(row)
    back = Return(LATER, "Holds.", "", "alone on site", return_test(row))
    return_to_service(row, back, by=make.BY, shown_version=1)
    assert row.return_note == "Holds. Without a witness: alone on site"


def test_the_pages_raise_correct_and_return_by_the_right_roles() -> None:
    site = make.site()
    item = make.equipment(site)
    tender, maintainer = signed_in(make.user(site, "tender")), signed_in(make.user(site, "maintainer"))
    typed = {"equipment": item.pk, "what": "seal weeps", "effect": "stops", "found_at": "12 Mar 2026 13:00"}
    raised = tender.post(reverse("maintenance:raise_defect", args=[site.key]), typed)
    row = Defect.objects.get()
    assert raised.headers["Location"] == reverse("maintenance:defect", args=[site.key, row.pk])
    assert "seal weeps" in tender.get(reverse("maintenance:defects", args=[site.key])).content.decode()
    repaired(row)
    address = reverse("maintenance:return_to_service", args=[site.key, row.pk])
    back = {
        "at": "12 Mar 2026 18:00",
        "done": "Held at 60 fsw.",
        "result": "passed",
        "witness": make.person(site).pk,
        "shown_version": "1",
        "password": make.PASSWORD,
    }
    assert tender.post(address, back).status_code == 403
    assert maintainer.post(address, back | {"witness": ""}).status_code == 422
    assert maintainer.post(address, back | {"at": "1 Jan 2199 10:00"}).status_code == 422
    assert maintainer.post(address, back).status_code == 302
    assert WorkRecord.objects.get(kind="return_test").result == "passed"
    assert "seal weeps" not in tender.get(reverse("maintenance:defects", args=[site.key])).content.decode()
    assert "seal weeps" in tender.get(reverse("maintenance:defects", args=[site.key]) + "?all=1").content.decode()
    assert "Held at 60 fsw." in tender.get(reverse("maintenance:defect", args=[site.key, row.pk])).content.decode()


def test_the_one_who_returns_is_not_offered_as_witness() -> None:
    site = make.site()
    user = make.user(site, "maintainer")
    own, other = make.person(site, user=user), make.person(site)
    row = defect(site)
    repaired(row)
    address = reverse("maintenance:return_to_service", args=[site.key, row.pk])
    offered = signed_in(user).get(address).context["form"].fields["witness"].queryset
    assert list(offered) == [other]
    typed = {"at": "12 Mar 2026 18:00", "done": "x", "result": "passed", "witness": own.pk, "shown_version": "1",
             "password": make.PASSWORD}  # fmt: skip
    assert signed_in(user).post(address, typed).status_code == 422


def test_a_bad_defect_is_refused_and_kept_on_the_page() -> None:
    site = make.site()
    client = signed_in(make.user(site, "tender"))
    address = reverse("maintenance:raise_defect", args=[site.key])
    good = {
        "equipment": make.equipment(site).pk,
        "what": "seal weeps",
        "effect": "stops",
        "found_at": "12 Mar 2026 13:00",
    }
    for bad in ({"equipment": ""}, {"effect": "burning"}, {"found_at": "12/03/2026"}, {"found_at": "1 Jan 2199 10:00"},
                {"plans": ["no-such-plan"]}, {"equipment": make.equipment(make.site()).pk}):  # fmt: skip
        answer = client.post(address, good | bad)
        assert answer.status_code == 422, bad
        assert "seal weeps" in answer.content.decode()
    assert not Defect.objects.exists()
    other = signed_in(make.user(make.site(), "director"))
    assert other.post(address, good).status_code == 404
    assert reverse("accounts:login") in Client().get(address).headers["Location"]


def test_a_corrected_defect_stays_readable_struck_through() -> None:
    site = make.site()
    row = defect(site)
    client = signed_in(make.user(site, "tender"))
    typed = {
        "equipment": row.equipment_id,
        "what": "reads 2 fsw high",
        "effect": "watch",
        "found_at": "12 Mar 2026 13:00",
        "reason": "measured",
    }
    assert client.post(reverse("maintenance:correct_defect", args=[site.key, row.pk]), typed).status_code == 302
    text = client.get(reverse("maintenance:defect", args=[site.key, row.pk])).content.decode()
    assert "<s>0001 reads high</s>" in text
    assert "measured" in text


def test_the_code_on_the_tag_is_the_one_the_library_draws_for_its_page() -> None:
    site = make.site()
    row = defect(site)
    client = signed_in(make.user(site, "inspector"))
    text = client.get(reverse("maintenance:tag", args=[site.key, row.pk])).content.decode()
    address = "http://testserver" + reverse("maintenance:defect", args=[site.key, row.pk])
    assert segno.make(address, error="m", micro=False).svg_data_uri(border=0, scale=1) in text.replace("&#x27;", "'")
    assert re.search(r">0001<", text)
    assert "<style" not in text


def test_the_answer_of_a_check_hands_over_its_item_words_and_effect() -> None:
    site = make.site()
    item = make.equipment(site, tag="FW-1")
    chamber = make.chamber(site)
    sheet = services.add(CheckSheet(chamber=chamber, key="daily", title="Daily", occasion="daily"), by=make.BY)
    step = {"key": "water", "text": "Fire water pressure", "effect": "limits", "tag": "FW-1", "bank": ""}
    version = services.add(
        SheetVersion(sheet=sheet, version=1, steps=[step], approved_by="x", in_force_from=make.NOON), by=make.BY
    )
    check = services.add(
        Check(sheet=sheet, version=version, number=1, started_at=make.NOON, started_by="x"), by=make.BY
    )
    answer = services.add(Answer(check_done=check, step="water", outcome="bad", value="4.1", unit="bar"), by=make.BY)
    client = signed_in(make.user(site, "tender"))
    address = f"{reverse('maintenance:raise_defect', args=[site.key])}?answer={answer.pk}"
    form = client.get(address).context["form"]
    assert (form["equipment"].value(), form["effect"].value()) == (item.pk, "limits")
    assert form["what"].value() == "Fire water pressure: 4.1 bar."
    now = events.now().strftime("%Y-%m-%d %H:%MZ")
    client.post(address, {"equipment": item.pk, "what": "too low", "effect": "limits", "found_at": now})
    assert Defect.objects.get().answer == answer
    stranger = signed_in(make.user(make.site(), "tender"))
    assert stranger.get(address).status_code == 404


@pytest.mark.parametrize("name", ["defects", "defect"])
def test_defect_pages_take_few_queries_however_many_there_are(name: str, django_assert_max_num_queries: Any) -> None:
    site = make.site()
    row = defect(site)
    client = signed_in(make.user(site, "inspector"))
    address = reverse(f"maintenance:{name}", args=[site.key, *([row.pk] if name == "defect" else [])])
    with django_assert_max_num_queries(20) as few:
        client.get(address)
    count = len(few)
    for _number in range(6):
        defect(site)
    with django_assert_max_num_queries(count):
        client.get(address)
