"""The places Plant, People, Records and Set-up, the event log and the house rules."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from facility import events, house, services
from facility.models import DutyPeriod, Event, HouseRule, MedicalFitness, QualificationHeld, Site
from facility.records.plant import bank_lines
from facility.records.states import moment_of
from facility.reference import house_rule_definitions
from maintenance.gas_room.limits import sets_of
from maintenance.models import BankReading, Cylinder, CylinderAnalysis, Defect
from maintenance.services import raise_defect
from tests import make
from tests.records.test_kinds import signed_in

pytestmark = pytest.mark.django_db
PLACES = ("plant", "people", "records", "setup", "events", "house_rules")


def fill(site: Site, times: int) -> None:
    """Store some of everything the places show."""
    for _number in range(times):
        make.lock(make.chamber(site))
        item = make.equipment(site)
        make.work(make.rule(item), date(2026, 1, 1))
        make.rule(make.equipment(site, kind="fire"))
        bank = make.bank(site)
        cylinder = services.add(Cylinder(bank=bank, mark="A", water_litres=Decimal(50)), by=make.BY)
        services.add(
            CylinderAnalysis(cylinder=cylinder, analysed_at=make.NOON, result="passed", analysed_by="J."), by=make.BY
        )
        services.add(
            BankReading(bank=bank, read_at=make.NOON, pressure=Decimal(100), unit="bar", read_by="J."), by=make.BY
        )
        raise_defect(Defect(site=site, equipment=item, what="leaks", effect="stops", found_at=make.NOON), by=make.BY)
        person = make.person(site)
        kind = make.qualification_kind(site.organisation)
        services.add(
            QualificationHeld(person=person, kind=kind, issued_on=date(2025, 1, 1), second_look_by="J."), by=make.BY
        )
        services.add(
            MedicalFitness(person=person, examined_on=date(2025, 1, 1), good_until=date(2027, 1, 1), outcome="fit"),
            by=make.BY,
        )
        now = events.now()
        services.add(DutyPeriod(person=person, starts_at=now, ends_at=now + timedelta(hours=8)), by=make.BY)


@pytest.mark.parametrize("place", PLACES)
def test_a_place_takes_as_many_queries_with_ten_times_the_rows(place: str, django_assert_max_num_queries: Any) -> None:
    site = make.site()
    fill(site, 1)
    client = signed_in(make.user(site, "inspector"))
    address = reverse(f"places:{place}", args=[site.key])
    client.get(address)
    with django_assert_max_num_queries(12) as few:
        assert client.get(address).status_code == 200
    count = len(few)
    fill(site, 9)
    with django_assert_max_num_queries(count):
        assert client.get(address).status_code == 200


@pytest.mark.parametrize("place", PLACES)
def test_a_place_of_an_empty_site_says_what_to_do(place: str) -> None:
    site = make.site()
    assert signed_in(make.user(site, "inspector")).get(reverse(f"places:{place}", args=[site.key])).status_code == 200
    assert (
        signed_in(make.user(make.site(), "director")).get(reverse(f"places:{place}", args=[site.key])).status_code
        == 404
    )
    assert reverse("accounts:login") in Client().get(reverse(f"places:{place}", args=[site.key])).headers["Location"]


def test_a_bank_shows_no_content_from_an_unanalysed_cylinder_or_an_old_reading() -> None:
    site = make.site()
    bank = make.bank(site)
    at = moment_of(site, make.NOON)
    assert bank_lines(site, at)[0].litres is None
    cylinder = services.add(Cylinder(bank=bank, mark="A", water_litres=Decimal(50)), by=make.BY)
    read_at = make.NOON - timedelta(minutes=1439)
    services.add(BankReading(bank=bank, read_at=read_at, pressure=Decimal(100), unit="bar", read_by="J."), by=make.BY)
    assert bank_lines(site, at)[0].litres is None
    services.add(
        CylinderAnalysis(cylinder=cylinder, analysed_at=read_at, result="passed", analysed_by="J."), by=make.BY
    )
    (line,) = bank_lines(site, at)
    # 50 L of water at 100 bar gauge hold near 50 x 100 / 1.01325 L by the ideal law; oxygen is a few per cent denser
    assert line.litres == pytest.approx(50 * 100 / 1.01325, rel=0.08)
    assert line.state.quiet
    (old,) = bank_lines(site, moment_of(site, make.NOON + timedelta(minutes=1)))
    assert old.state.words == "Read 24 h 00 ago: too old"


def test_an_event_shows_the_text_and_the_digest_that_the_library_finds_too() -> None:
    site = make.site()
    make.equipment(site)
    event = Event.objects.latest("seq")
    client = signed_in(make.user(site, "inspector"))
    page = client.get(reverse("places:event", args=[site.key, event.seq])).content.decode()
    # the digest is taken over a label, NUL, the digest before, and the text: SHA-256 of the standard library as oracle
    joined = b"deepstead event v1\0" + bytes(event.prev) + event.payload.encode()
    assert hashlib.sha256(joined).hexdigest() in page
    assert json.loads(event.payload)["salt"] in page
    other = make.site()
    assert (
        signed_in(make.user(other, "director")).get(reverse("places:event", args=[other.key, event.seq])).status_code
        == 404
    )


def test_the_log_is_filtered_by_subject_and_by_the_sites_day() -> None:
    site = make.site()
    make.equipment(site)
    make.person(site)
    client = signed_in(make.user(site, "inspector"))
    address = reverse("places:events", args=[site.key])
    shown = client.get(f"{address}?subject=maintenance.equipment").context["events"]
    assert [event.subject_kind for event, _name in shown] == ["maintenance.equipment"]
    today = moment_of(site, datetime.now(UTC)).today
    assert client.get(f"{address}?day={today.isoformat()}").context["events"]
    assert not client.get(f"{address}?day=1+Jan+2001").context["events"]
    refused = client.get(f"{address}?day=01/02/2026")
    assert refused.status_code == 422
    assert "<title>Error:" in refused.content.decode()


def test_what_the_organisation_keeps_is_in_the_log_of_its_sites_alone() -> None:
    site = make.site()
    kind = make.qualification_kind(site.organisation)
    event = Event.objects.get(subject_kind="facility.qualificationkind", subject_id=kind.pk)
    client = signed_in(make.user(site, "inspector"))
    text = client.get(reverse("places:event", args=[site.key, event.seq])).content.decode()
    assert reverse("records:detail", args=[site.key, "qualification-kind", kind.pk]) in text
    other = make.site()
    stranger = signed_in(make.user(other, "director"))
    assert stranger.get(reverse("places:event", args=[other.key, event.seq])).status_code == 404


def test_an_event_of_a_defect_leads_to_its_page() -> None:
    site = make.site()
    item = make.equipment(site)
    row = raise_defect(Defect(site=site, equipment=item, what="leaks", effect="stops", found_at=make.NOON), by=make.BY)
    client = signed_in(make.user(site, "inspector"))
    event = Event.objects.get(subject_kind="maintenance.defect", subject_id=row.pk)
    text = client.get(reverse("places:event", args=[site.key, event.seq])).content.decode()
    assert reverse("maintenance:defect", args=[site.key, row.pk]) in text


def rule_address(site: Site, key: str = "check_age_min") -> str:
    return reverse("places:set_house_rule", args=[site.key, key])


TYPED = {
    "value": "1200",
    "approved_by": "Dr Vale",
    "in_force_from": "1 Mar 2026 08:00",
    "reason": "shorter shifts",
    "shown_version": "0",
}


def test_a_house_rule_is_changed_by_a_new_version_with_its_approver() -> None:
    site = make.site()
    client = signed_in(make.user(site, "director"))
    assert client.post(rule_address(site), TYPED).status_code == 302
    before = Event.objects.count()
    again = TYPED | {"value": "1000", "shown_version": "1"}
    assert client.post(rule_address(site), again).status_code == 302
    assert Event.objects.count() == before + 1
    told = json.loads(Event.objects.latest("seq").payload)
    assert (int(float(told["before"]["value"])), int(float(told["after"]["value"]))) == (1200, 1000)
    assert house.values(site)["check_age_min"] == 1000
    assert list(HouseRule.objects.order_by("version").values_list("version", flat=True)) == [1, 2]
    assert client.post(rule_address(site), TYPED | {"shown_version": "1"}).status_code == 409
    assert "<s>1: 1" in client.get(reverse("places:house_rules", args=[site.key])).content.decode()


@pytest.mark.parametrize(
    ("key", "typed"),
    [
        ("check_age_min", {"value": "0"}),
        ("check_age_min", {"value": "-1"}),
        ("check_age_min", {"value": "1 440"}),
        ("check_age_min", {"value": "12.5"}),
        ("check_age_min", {"value": "1 000 000"}),
        ("window_keeps_good", {"value": "2"}),
        ("public_status", {"value": "2"}),
        ("air_limit_set", {"value": "6"}),
        ("oxygen_limit_set", {"value": "1"}),
        ("check_age_min", {"reason": ""}),
        ("check_age_min", {"approved_by": ""}),
        ("check_age_min", {"in_force_from": "1 Mar 2199 08:00"}),
    ],
)
def test_a_house_rule_that_makes_no_sense_is_refused(key: str, typed: dict[str, str]) -> None:
    site = make.site()
    client = signed_in(make.user(site, "director"))
    assert client.post(rule_address(site, key), TYPED | typed).status_code == 422
    assert not HouseRule.objects.exists()


def test_a_rule_that_is_a_choice_is_read_and_typed_in_words() -> None:
    site = make.site()
    client = signed_in(make.user(site, "director"))
    asked = client.get(rule_address(site, "air_limit_set")).content.decode()
    assert '<option value="1">EN 12021:2014</option>' in asked
    assert "Now the default, none adopted yet." in asked
    assert client.post(rule_address(site, "air_limit_set"), TYPED | {"value": "1"}).status_code == 302
    page = client.get(reverse("places:house_rules", args=[site.key])).content.decode()
    assert "<b>EN 12021:2014</b>" in page
    assert "<b>1: EN 12021:2014</b>" in page


@pytest.mark.parametrize(("key", "gas"), [("air_limit_set", "AIR"), ("oxygen_limit_set", "O2")])
def test_each_limit_set_of_a_gas_is_a_choice(key: str, gas: str) -> None:
    assert set(house_rule_definitions()[key].choices) == {0} | {one.number for one in sets_of(gas)}


def test_only_who_may_change_rules_changes_them() -> None:
    site = make.site()
    assert signed_in(make.user(site, "supervisor")).post(rule_address(site), TYPED).status_code == 403
    assert signed_in(make.user(site, "director")).get(rule_address(site, "no_such_rule")).status_code == 404
