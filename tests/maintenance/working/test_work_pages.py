"""The pages of work: recorded, judged, corrected, listed; a failed result leads to the defect."""

from __future__ import annotations

import io
from datetime import date
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from facility.models import Event, Site
from maintenance.models import Defect, Equipment, WorkRecord
from maintenance.working.every import ELSEWHERE, KINDS
from maintenance.working.kinds import Look
from maintenance.working.unanswered import failed_without_defect
from tests import make
from tests.maintenance.working.support import signed_in, typed_work

pytestmark = pytest.mark.django_db


@pytest.fixture
def site() -> Site:
    return make.site(zone="Europe/Oslo")


@pytest.fixture
def item(site: Site) -> Equipment:
    return make.equipment(site, tag="RV-1", name="Relief valve", kind="relief_valve")


@pytest.fixture
def client(site: Site) -> Client:
    return signed_in(make.user(site, "maintainer"))


def address(item: Equipment, kind: str = "relief_valve", **more: Any) -> str:
    query = "&".join(f"{name}={value}" for name, value in ({"equipment": item.pk, "kind": kind} | more).items())
    return f"{reverse('maintenance:record_work', args=[item.site.key])}?{query}"


def picture(name: str = "scan.png") -> SimpleUploadedFile:
    """Return a small picture as it comes from a phone."""
    target = io.BytesIO()
    Image.new("RGB", (8, 8), "white").save(target, "PNG")
    return SimpleUploadedFile(name, target.getvalue(), content_type="image/png")


VALVE = typed_work(
    "relief_valve", r_opened="103", r_opened_unit="psi", r_reseated="93", r_reseated_unit="psi", r_gag="good", d_setting="100",
)  # fmt: skip


def test_a_valve_test_is_recorded_with_its_readings_limits_and_sum(client: Client, item: Equipment) -> None:
    answer = client.post(
        address(item), VALVE | {"witness": "J. Quill", "cost": "120,50", "currency": "eur", "down_min": "90"}
    )
    work = WorkRecord.objects.get()
    assert answer.headers["Location"] == reverse("maintenance:work", args=[item.site.key, work.pk])
    assert (work.kind, work.result, work.done_on, work.witness) == (
        "relief_valve",
        "passed",
        date(2026, 3, 12),
        "J. Quill",
    )
    assert (str(work.cost), work.currency, work.down_min) == ("120.50", "EUR", 90)
    opening = next(one for one in work.readings if one["name"] == "opening")
    assert (opening["low"], opening["high"], opening["outcome"]) == ("97", "103", "within limits")
    page = client.get(answer.headers["Location"]).content.decode()
    for words in ("Within limits", "Formula:", "unconfirmed", "97 psi", "prevail", "J. Quill"):
        assert words in page
    assert Event.objects.latest("seq").action == "work recorded"


def test_an_outlying_reading_is_saved_and_leads_straight_to_the_defect(client: Client, item: Equipment) -> None:
    answer = client.post(address(item), VALVE | {"r_opened": "110"})
    work = WorkRecord.objects.get()
    assert (answer.status_code, work.result) == (302, "failed")
    form = client.get(answer.headers["Location"]).context["form"]
    assert form["equipment"].value() == str(item.pk)
    assert "Opening pressure 110 psi" in form["what"].value()
    assert failed_without_defect(item.site) == [work]
    page = client.get(reverse("maintenance:work", args=[item.site.key, work.pk])).content.decode()
    assert "no defect has come of it yet" in page
    typed = {
        "equipment": item.pk,
        "what": form["what"].value(),
        "effect": "stops",
        "found_at": form["found_at"].value(),
    }
    assert client.post(answer.headers["Location"], typed).status_code == 302
    work.refresh_from_db()
    assert work.details["defect"] == Defect.objects.get().pk
    assert failed_without_defect(item.site) == []


def test_a_better_result_than_the_readings_needs_its_reason_and_still_asks_for_a_defect(
    client: Client, item: Equipment
) -> None:
    bad = VALVE | {"r_opened": "110", "result": "passed"}
    refused = client.post(address(item), bad)
    assert refused.status_code == 422
    assert "Say why it is better" in refused.content.decode()
    client.post(address(item), bad | {"why_better": "Test gauge was proven wrong."})
    work = WorkRecord.objects.get()
    assert work.result == "passed"
    assert failed_without_defect(item.site) == [work]


def test_a_later_passed_act_or_an_open_defect_answers_a_failed_one(client: Client, item: Equipment) -> None:
    client.post(address(item), VALVE | {"r_opened": "110", "done_on": "1 Mar 2026"})
    assert len(failed_without_defect(item.site)) == 1
    client.post(address(item), VALVE)
    assert failed_without_defect(item.site) == []


def test_what_could_not_be_read_is_said_and_is_no_pass(client: Client, item: Equipment) -> None:
    refused = client.post(address(item), VALVE | {"r_opened": ""})
    assert "Type the reading, or tick that it could not be read." in refused.content.decode()
    client.post(address(item), VALVE | {"r_opened": "", "r_opened_unread": "on", "r_gag": "could not look"})
    assert WorkRecord.objects.get().result == "could not read"


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        ({"r_opened": "1,234.5"}, "thousand separator"),
        ({"r_opened": "wet"}, "is not a number"),
        ({"r_gag": "perhaps"}, "perhaps"),
        ({"r_opened_unit": "furlong"}, "furlong"),
        ({"d_setting": "0"}, "is set above 0"),
        ({"r_reseated": "200"}, "shuts below"),
        ({"done_on": "31 Feb 2026"}, "no such day"),
        ({"done_on": "1 Jan 2190"}, "lies after today"),
        ({"done_on": "Dec 2190"}, "This month is not over"),
        ({"witness": " INA  test "}, "must be another person than Ina Test"),
        ({"cost": "12"}, "needs its currency"),
        ({"cost": "12", "currency": "E1"}, "is not a currency"),
        ({"cost": "-1", "currency": "EUR"}, "greater than or equal to 0"),
        ({"due_on": "1 Jan 2026"}, "before the day it was done"),
        ({"read_off": "on"}, "Add the paper"),
        ({"down_min": "99999999"}, "5256000"),
    ],
)
def test_a_mistake_is_refused_by_name_and_nothing_typed_is_lost(
    client: Client, item: Equipment, bad: dict[str, str], said: str
) -> None:
    answer = client.post(address(item), VALVE | {"note": "spring looks tired"} | bad)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert "spring looks tired" in page
    assert not WorkRecord.objects.exists()


def test_a_file_that_is_none_is_refused_beside_its_field(client: Client, item: Equipment) -> None:
    fake = SimpleUploadedFile("scan.pdf", b"not a paper")
    answer = client.post(address(item), VALVE | {"upload": fake})
    assert answer.status_code == 422
    assert "scan.pdf" in answer.content.decode()
    assert not WorkRecord.objects.exists()


def test_a_month_alone_is_kept_as_its_last_day(client: Client, item: Equipment) -> None:
    client.post(address(item), VALVE | {"done_on": "Feb 2026"})
    work = WorkRecord.objects.get()
    assert (work.done_on, work.month_only) == (date(2026, 2, 28), True)
    assert "Feb 2026" in client.get(reverse("maintenance:work", args=[item.site.key, work.pk])).content.decode()


def test_limits_and_the_setting_are_offered_again_but_never_a_reading(client: Client, item: Equipment) -> None:
    client.post(address(item), VALVE)
    form = client.get(address(item)).context["form"]
    assert (form["d_setting"].value(), form["r_opened_unit"].value()) == ("100", "psi")
    assert form["r_opened"].value() is None
    assert form["r_opened"].help_text == "Last time 103 psi, on 12 Mar 2026."


def test_a_limit_of_the_last_unit_is_not_taken_for_another(client: Client, site: Site) -> None:
    tank = make.equipment(site, tag="FW-1", kind="fire")
    typed = typed_work(
        "fire_water", r_level="900", r_level_unit="L", r_level_low="800", r_pressure="6", r_pressure_unit="bar",
        r_supply="good", r_alarm="good",
    )  # fmt: skip
    assert client.post(address(tank, "fire_water"), typed).status_code == 302
    answer = client.post(address(tank, "fire_water"), typed | {"r_level": "90", "r_level_unit": "%"})
    assert "This limit was in L. Type it in %." in answer.content.decode()


def test_a_set_point_is_an_event_of_its_own_with_old_new_and_the_person(client: Client, site: Site) -> None:
    alarm = make.equipment(site, tag="AL-1", kind="alarm")
    typed = typed_work(
        "set_point", r_alarm="good", d_watches="carbon monoxide", d_old="8", d_new="10", d_unit="ppm", d_why="as the code asks",
        done_by="K. Marsh",
    )  # fmt: skip
    assert client.post(address(alarm, "set_point"), typed).status_code == 302
    event = Event.objects.latest("seq")
    assert event.action == "alarm set-point changed"
    assert event.reason == "carbon monoxide: 8 → 10 ppm by K. Marsh. as the code asks"


def test_a_kit_gets_its_next_day_from_the_first_drug_to_run_out(client: Client, site: Site) -> None:
    kit = make.equipment(site, tag="MK-1", kind="medical_kit")
    typed = typed_work(
        "expiry", r_complete="good", r_seal="good", d_items="Saline; 1; Nov 2027\nAdrenaline; 2; 30 Jun 2026"
    )
    client.post(address(kit, "expiry"), typed)
    work = WorkRecord.objects.get()
    assert (work.due_on, work.details["due_reckoned"]) == (date(2026, 6, 30), True)


def test_a_correction_stands_in_the_place_of_the_first_and_both_are_readable(client: Client, item: Equipment) -> None:
    client.post(address(item), VALVE)
    old = WorkRecord.objects.get()
    change = reverse("maintenance:correct_work", args=[item.site.key, old.pk])
    form = client.get(change).context["form"]
    assert (form["r_opened"].value(), form["d_setting"].value()) == ("103", "100")
    assert client.post(change, VALVE | {"r_opened": "102"}).status_code == 422  # without a reason
    client.post(change, VALVE | {"r_opened": "102", "reason": "slip of the pen"})
    new = WorkRecord.objects.get(retired_at=None)
    assert (new.supersedes, new.readings[0]["value"]) == (old, "102")
    text = client.get(reverse("maintenance:work", args=[item.site.key, old.pk])).content.decode()
    assert "slip of the pen" in text
    assert "In its place stands another." in text
    assert client.get(change).status_code == 302  # the old one is corrected no more


def test_an_act_of_another_item_is_refused(client: Client, item: Equipment) -> None:
    stranger = make.rule()
    assert client.post(address(item), VALVE | {"rule": stranger.pk}).status_code == 422


def test_the_list_is_narrowed_by_item_sort_result_and_words(client: Client, item: Equipment, site: Site) -> None:
    client.post(address(item), VALVE | {"note": "spring renewed"})
    client.post(address(item), VALVE | {"r_opened": "110"})
    page = reverse("maintenance:work_list", args=[site.key])

    def count(query: str) -> int:
        return len(client.get(f"{page}?{query}").context["rows"])

    assert "and no defect came of it" in client.get(page).content.decode()
    assert [count(""), count("result=failed"), count("kind=hose"), count(f"equipment={item.pk}")] == [2, 1, 0, 2]
    assert [count("q=spring"), count("waiting=1"), count("equipment=x&kind=nonsense&page=zero")] == [1, 0, 2]


@pytest.mark.parametrize("kind", sorted(set(KINDS) - set(ELSEWHERE)))
def test_every_sort_of_work_has_a_form_that_asks_for_its_readings(client: Client, item: Equipment, kind: str) -> None:
    answer = client.get(address(item, kind))
    assert answer.status_code == 200
    form = answer.context["form"]
    for wanted in KINDS[kind].readings:
        assert f"r_{wanted.name}" in form.fields
        assert isinstance(wanted, Look) or f"r_{wanted.name}_unread" in form.fields or not wanted.needed
    assert client.post(address(item, kind), {"note": "x"}).status_code == 422
    assert str(KINDS[kind].caution).split(".")[0] in answer.content.decode().replace("&#x27;", "'")


@pytest.mark.parametrize("kind", ["calibration", "return_test", "nonsense", ""])
def test_a_sort_with_its_own_page_or_none_at_all_is_chosen_anew(client: Client, item: Equipment, kind: str) -> None:
    assert "kinds" in client.get(address(item, kind)).context


def test_work_of_another_site_is_not_found(item: Equipment) -> None:
    stranger = signed_in(make.user(make.site(), "director"))
    assert stranger.get(address(item)).status_code == 404
    own = make.site()
    director = signed_in(make.user(own, "director"))
    page = reverse("maintenance:record_work", args=[own.key])
    assert director.get(f"{page}?equipment={item.pk}&kind=hose").status_code == 404


def test_a_tender_may_look_and_not_record(site: Site, item: Equipment) -> None:
    tender = signed_in(make.user(site, "tender"))
    assert tender.get(reverse("maintenance:work_list", args=[site.key])).status_code == 200
    assert tender.get(address(item)).status_code == 403
    assert tender.post(address(item), VALVE).status_code == 403
    assert not WorkRecord.objects.exists()


def test_what_was_typed_is_shown_as_text_and_never_as_markup(client: Client, item: Equipment) -> None:
    client.post(address(item), VALVE | {"note": "<script>x</script>", "d_body": "<b>body</b>"})
    page = client.get(reverse("maintenance:work", args=[item.site.key, WorkRecord.objects.get().pk])).content.decode()
    assert "<script>x" not in page
    assert "&lt;b&gt;body" in page
