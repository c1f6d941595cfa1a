"""A second look, a contact rung, work that failed, search and paging."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from facility import services
from facility.models import Contact, Event, HouseRule, QualificationHeld
from facility.records.due import rules_of
from facility.records.states import moment_of, of_rule
from maintenance.models import IntervalRule, WorkRecord
from tests import make
from tests.records.test_kinds import signed_in
from treatments.models import Need
from treatments.services import Members, add_need

pytestmark = pytest.mark.django_db


@pytest.fixture
def held() -> tuple[QualificationHeld, Client, Client]:
    """Return a certificate typed by the first person, and both people's clients."""
    site = make.site()
    first, second = make.user(site, "supervisor"), make.user(site, "supervisor")
    kind = make.qualification_kind(site.organisation)
    client = signed_in(first)
    typed = {"person": make.person(site).pk, "kind": kind.pk, "issued_on": "14 Mar 2025", "expires_on": "13 Mar 2027"}
    client.post(reverse("records:add", args=[site.key, "qualification"]), typed)
    return QualificationHeld.objects.get(), client, signed_in(second)


def look(row: QualificationHeld, client: Client, **typed: str) -> Any:
    address = reverse("records:second_look", args=[row.person.site.key, row.pk])
    return client.post(address, {"issued_on": "14 Mar 2025", "expires_on": "2027-03-13", "shown_version": "1"} | typed)


def test_the_second_look_is_another_persons(held: tuple[QualificationHeld, Client, Client]) -> None:
    row, first, second = held
    assert look(row, first).status_code == 422
    row.refresh_from_db()
    assert row.second_look_by == ""
    before, reader = Event.objects.count(), row.recorded_by
    assert look(row, second).status_code == 302
    row.refresh_from_db()
    assert row.second_look_by != ""
    assert row.second_look_by != reader
    assert Event.objects.count() == before + 1
    assert Event.objects.latest("seq").action == "second look"


def test_a_second_look_that_reads_another_day_is_refused(held: tuple[QualificationHeld, Client, Client]) -> None:
    row, _first, second = held
    for typed in ({"expires_on": "3 Mar 2027"}, {"issued_on": "15 Mar 2025"}, {"expires_on": ""}):
        assert look(row, second, **typed).status_code == 422
    row.refresh_from_db()
    assert row.second_look_by == ""


def test_the_page_of_the_second_look_hides_the_first_reading(held: tuple[QualificationHeld, Client, Client]) -> None:
    row, _first, second = held
    text = second.get(reverse("records:second_look", args=[row.person.site.key, row.pk])).content.decode()
    assert "13 Mar 2027" not in text
    assert "2027-03-13" not in text


def test_nobody_can_type_a_second_look_into_the_form(held: tuple[QualificationHeld, Client, Client]) -> None:
    row, first, _second = held
    site = row.person.site
    typed = {
        "person": row.person_id,
        "kind": row.kind_id,
        "issued_on": "14 Mar 2025",
        "second_look_by": "Somebody Else",
    }
    first.post(reverse("records:add", args=[site.key, "qualification"]), typed)
    assert set(QualificationHeld.objects.values_list("second_look_by", flat=True)) == {""}


def test_a_correction_asks_for_a_second_look_again(held: tuple[QualificationHeld, Client, Client]) -> None:
    row, first, second = held
    look(row, second)
    site = row.person.site
    typed = {"person": row.person_id, "kind": row.kind_id, "issued_on": "14 Mar 2025", "expires_on": "13 Mar 2028",
             "reason": "Misread", "shown_version": "2"}  # fmt: skip
    assert first.post(reverse("records:correct", args=[site.key, "qualification", row.pk]), typed).status_code == 302
    assert QualificationHeld.objects.get(retired_at=None).second_look_by == ""


def test_a_contact_rung_today_is_confirmed_on_the_sites_own_day() -> None:
    site = make.site(zone="Pacific/Auckland")
    contact = services.add(Contact(site=site, key="doc", kind="physician", name="Dr Vale", phone="555"), by=make.BY)
    client = signed_in(make.user(site, "supervisor"))
    address = reverse("records:confirmed", args=[site.key, contact.pk])
    assert client.get(address).status_code == 405
    client.post(address, {"shown_version": "1"})
    contact.refresh_from_db()
    import zoneinfo

    assert contact.confirmed_on == timezone.now().astimezone(zoneinfo.ZoneInfo("Pacific/Auckland")).date()
    client.post(address, {"shown_version": "1"})
    contact.refresh_from_db()
    assert contact.row_version == 2, "a stale page confirms nothing"


def test_a_failed_work_record_leads_to_the_defect_with_its_item_chosen() -> None:
    site = make.site()
    item = make.equipment(site)
    client = signed_in(make.user(site, "maintainer"))
    typed = {"equipment": item.pk, "rule": make.rule(item).pk, "done_on": "1 Mar 2025", "result": "failed", "done_by": "J. Quill",
             "note": "reads 4 fsw high"}  # fmt: skip
    answer = client.post(reverse("records:add", args=[site.key, "work"]), typed)
    assert WorkRecord.objects.get().result == "failed"
    page = client.get(answer.headers["Location"])
    assert page.context["form"]["equipment"].value() == str(item.pk)
    assert "reads 4 fsw high" in str(page.context["form"]["what"].value())


@pytest.mark.parametrize(
    ("done", "result", "words"),
    [
        (None, "", "Never recorded"),
        (date(2026, 3, 11), "failed", "Failed 11 Mar 2026"),
        (date(2026, 3, 11), "could not read", "Could not read 11 Mar 2026"),
        (date(2025, 9, 11), "passed", "Overdue 1 day"),  # six months from 11 Sep end on 11 Mar, yesterday
        (date(2025, 9, 12), "passed", "Due today"),
        (date(2025, 9, 13), "passed", "Due in 1 day"),
        (date(2025, 10, 12), "passed", "In date until 12 Apr 2026"),  # 31 days ahead, soon is 30
    ],
)
def test_the_state_of_a_rule_says_when_it_falls_due(done: date | None, result: str, words: str) -> None:
    rule = make.rule()  # every 6 months
    if done is not None:
        make.work(rule, done, result=result)
    moment = moment_of(rule.equipment.site, make.NOON)
    (fetched,) = rules_of([rule.equipment_id], moment)[rule.equipment_id]
    assert of_rule(fetched, moment).words == words


def test_failed_work_outside_any_rule_counts_on_the_item_until_it_passes() -> None:
    site = make.site()
    item = make.equipment(site)
    client = signed_in(make.user(site, "inspector"))
    address = reverse("records:list", args=[site.key, "equipment"])

    def words() -> str:
        return str(client.get(address).context["lines"][0].state.words)

    assert words() == "Nothing falls due on it"
    for day, result, said in ((1, "failed", "Failed 1 Mar 2025"), (2, "passed", "Nothing falls due on it")):
        row = WorkRecord(equipment=item, done_on=date(2025, 3, day), result=result, done_by="J. Quill")
        services.add(row, by=make.BY)
        assert words() == said


def test_of_two_results_of_one_day_the_worse_counts() -> None:
    rule = make.rule()
    make.work(rule, make.DAY, result="failed")
    make.work(rule, make.DAY, result="passed")
    moment = moment_of(rule.equipment.site, make.NOON)
    (fetched,) = rules_of([rule.equipment_id], moment)[rule.equipment_id]
    assert of_rule(fetched, moment).words == "Failed 12 Mar 2026"


def test_a_certificates_own_date_goes_before_the_interval() -> None:
    rule = make.rule()
    make.work(rule, date(2026, 1, 31), due_on=date(2026, 5, 1))
    moment = moment_of(rule.equipment.site, make.NOON)
    (fetched,) = rules_of([rule.equipment_id], moment)[rule.equipment_id]
    assert fetched.due_on == date(2026, 5, 1)


@pytest.mark.parametrize(
    ("keeps", "day", "words"),
    [
        (0, date(2026, 3, 12), "Overdue 1 day"),
        (1, date(2026, 3, 12), "Past its due day, in its late window until 18 Mar 2026"),
        (1, date(2026, 3, 18), "Past its due day, in its late window until 18 Mar 2026"),
        (1, date(2026, 3, 19), "Overdue 8 days"),
    ],
)
def test_the_late_window_keeps_an_item_good_only_where_the_house_says_so(keeps: int, day: date, words: str) -> None:
    rule = make.rule(window_days=7)
    make.work(rule, date(2025, 9, 11))  # six months end on 11 Mar, seven days more on 18 Mar
    site = rule.equipment.site
    services.add(
        HouseRule(site=site, key="window_keeps_good", value=keeps, approved_by="x", in_force_from=make.NOON), by=make.BY
    )
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    moment = moment_of(site, noon)
    (fetched,) = rules_of([rule.equipment_id], moment)[rule.equipment_id]
    assert of_rule(fetched, moment).words == words


def test_retiring_an_item_names_the_needs_that_rest_on_it() -> None:
    chamber = make.chamber()
    item = make.equipment(chamber.site)
    add_need(Need(chamber=chamber, key="depth", name="Inner-lock depth"), Members(equipment=(item.pk,)), by=make.BY)
    client = signed_in(make.user(chamber.site, "maintainer"))
    text = client.get(reverse("records:retire", args=[chamber.site.key, "equipment", item.pk])).content.decode()
    assert "Inner-lock depth" in text


def test_nothing_falls_due_every_0_months_or_days() -> None:
    site = make.site()
    services.add(IntervalRule(equipment=make.equipment(site), name="look", days=7), by=make.BY)
    (line,) = (
        signed_in(make.user(site, "inspector")).get(reverse("records:list", args=[site.key, "rule"])).context["lines"]
    )
    assert {"\u2013", "7"} < {cell.text for cell in line.cells}
    assert "0" not in {cell.text for cell in line.cells}


def test_a_list_finds_by_words_and_shows_50_a_page() -> None:
    site = make.site()
    item = make.equipment(site)
    rows = [IntervalRule(equipment=item, name=f"act {number:03}", days=7 + number) for number in range(52)]
    for row in rows:
        services.add(row, by=make.BY)
    client = signed_in(make.user(site, "inspector"))
    address = reverse("records:list", args=[site.key, "rule"])
    assert len(client.get(address).context["lines"]) == 50
    assert len(client.get(f"{address}?page=2").context["lines"]) == 2
    assert len(client.get(f"{address}?page=999999999999999999").context["lines"]) == 0
    assert client.get(f"{address}?page=99999999999999999999").status_code == 404  # more than 64 bits: no row is so far
    assert [line.row.name for line in client.get(f"{address}?q=act+017").context["lines"]] == ["act 017"]
    assert not client.get(f"{address}?q=nothing+at+all").context["lines"]
    other = make.rule(make.equipment(site))
    narrowed = client.get(f"{address}?equipment={other.equipment_id}").context["lines"]
    assert [line.row.pk for line in narrowed] == [other.pk]


def test_the_first_site_is_made_by_the_first_account_alone() -> None:
    address = reverse("records:first_site")
    typed = {
        "organisation_name": "Sound Trust",
        "organisation_key": "trust",
        "name": "Sound",
        "key": "sound",
        "zone": "Europe/Oslo",
    }
    assert signed_in(make.user()).post(address, typed).status_code == 403
    client = signed_in(make.user(is_superuser=True))
    assert client.post(address, typed | {"zone": "Mars/Base"}).status_code == 422
    answer = client.post(address, typed)
    assert client.get(answer.headers["Location"]).status_code == 200
    assert client.post(address, typed).status_code == 422
    assert timezone.now() - Event.objects.latest("seq").recorded_at < timedelta(minutes=1)
