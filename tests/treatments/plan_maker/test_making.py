"""A plan worked out from a table: its page, its sums, the banks beside it, and putting it in force."""

from __future__ import annotations

import html
import re
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from facility import events, services
from facility.models import Event
from maintenance.models import BankReading, Cylinder, CylinderAnalysis
from tests import make
from tests.treatments.plan_maker.support import client_of, page, with_locks
from tests.treatments.table_book.support import PARTS, actor, director, signed_in
from tests.treatments.test_runs import plan_of
from treatments.models import Plan
from treatments.table_book.services import approve, propose
from treatments.table_book.tables import as_in_force

pytestmark = pytest.mark.django_db

#: a plain table 6, no extension, no previous exposure, no dump
PLAIN = {"sent": "1", "table": "TT6", "at_60": "0", "at_30": "0"}


def words_of(answer: Any) -> str:
    text = re.sub(r"<[^>]+>", " ", answer.content.decode())
    return " ".join(html.unescape(text).split())


def filled_bank(chamber: Any, litres: int, bar: int, age: timedelta = timedelta(minutes=10), **fields: Any) -> Any:
    """Return a bank of one analysed cylinder, read a while ago at 15 degC."""
    bank = make.bank(chamber.site, chamber=chamber, **fields)
    cylinder = services.add(Cylinder(bank=bank, mark="A1", water_litres=Decimal(litres)), by=make.BY)
    at = events.now() - age
    services.add(CylinderAnalysis(cylinder=cylinder, analysed_at=at, result="passed", analysed_by="x"), by=make.BY)
    services.add(BankReading(bank=bank, read_at=at, pressure=bar, unit="bar", read_by="x"), by=make.BY)
    return bank


def test_the_page_opens_without_a_table_and_chooses_none() -> None:
    chamber = with_locks()
    answer = page(client_of(chamber), chamber)
    assert answer.status_code == 200
    assert not answer.context["form"].is_bound
    assert answer.context["worked"] is None


def test_a_table_alone_gives_the_longest_run_and_every_extension() -> None:
    chamber = with_locks()
    worked = page(client_of(chamber), chamber, table="TT6").context["worked"]
    assert worked.demand.run_min == 488  # hand sum: 288 + 2 x 25 + 2 x 75
    assert (worked.asking.patients, worked.asking.tenders, worked.asking.previous) == (1, 1, True)
    # tender after a previous exposure with more than one extension: 60 + 60 at 30 fsw and 30 up, p. 21-26
    assert worked.demand.oxygen.tender_min == 150


def test_the_sums_say_the_figures_of_a_plain_table_six() -> None:
    """153.8 and 30.3 scf of oxygen, 8 267.7 scf of ventilation: calculated apart from this program; p. 22-16, 21-26."""
    chamber = with_locks()
    text = words_of(page(client_of(chamber), chamber, **PLAIN))
    for said in ("153.8 scf", "30.3 scf", "8 267.7 scf", "288 min", "545.5 scf"):  # 300 x 60 / 33 = 545.5
        assert said in text, said
    assert "0.3 acfm · [60 min · (60 + 33) / 33" in text, "the formula with its numbers put in"
    assert "153.8 scf + 30.3 scf = 184.1 scf; · 28.3168 L/ft³ = 5 213 L" in text
    assert "unconfirmed" in text
    assert "the physician and the supervisor decide" in text


def test_a_dump_takes_the_air_rates() -> None:
    chamber = with_locks()
    client = client_of(chamber)
    without = page(client, chamber, **PLAIN).context["worked"].demand.air
    dumped = page(client, chamber, **PLAIN, dump="on").context["worked"].demand.air
    assert dumped.ventilation_scf == dumped.air_rates_scf < without.ventilation_scf


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"at_60": "3"}, "less than or equal to 2"),
        ({"patients": "0", "tenders": "0"}, "at least one person inside"),
        ({"table": "TT8"}, "not one of the available choices"),
        ({"minute_volume": "1 000"}, "thousand separator"),
        ({"tender_minutes": "30"}, "60 min or more"),
        ({"patients": ""}, "required"),
    ],
)
def test_what_nobody_can_plan_with_is_refused_and_what_was_typed_stays(more: dict[str, str], said: str) -> None:
    chamber = with_locks()
    answer = page(client_of(chamber), chamber, **(PLAIN | {"reserve_percent": "33"} | more))
    assert answer.status_code == 422
    assert said in words_of(answer)
    assert answer.context["form"]["reserve_percent"].value() == "33"


def test_a_chamber_without_its_locks_on_record_cannot_be_planned_for() -> None:
    chamber = make.chamber()
    answer = page(client_of(chamber), chamber, **PLAIN)
    assert answer.status_code == 422
    assert "an inner lock with a volume of more than 0" in words_of(answer)
    chamber = with_locks(medical=False)
    assert "no medical lock on record" in words_of(page(client_of(chamber), chamber, **PLAIN))


def test_more_people_than_places_and_a_table_too_deep_are_said_and_not_refused() -> None:
    chamber = with_locks()
    client = client_of(chamber)
    assert "the inner lock takes 4 by its record" in words_of(page(client, chamber, **PLAIN, patients="5"))
    shallow = with_locks()
    lock = shallow.locks.get(kind="inner")
    lock.working_pressure, lock.working_pressure_unit = Decimal(3), "bar"
    services.change(lock, by=make.BY, reason="test", shown_version=lock.row_version)
    text = words_of(page(client_of(shallow), shallow, sent="1", table="TT6A"))
    assert "The table goes to 165 fsw; the working pressure of Inner lock is 3 bar gauge." in text


def test_where_the_handbook_states_no_oxygen_for_the_tender_no_total_is_said() -> None:
    chamber = with_locks()
    client = client_of(chamber)
    answer = page(client, chamber, table="OX-2.4", sent="1")
    assert answer.context["worked"].amounts[0].needed is None
    assert "not stated; ask the physician" in words_of(answer)
    # 3 x 30 min at 2.4 ata and 0.3 acfm for one patient: 64.8 scf; the tender breathes air by the physician's word
    asked = page(client, chamber, table="OX-2.4", sent="1", tender_minutes="0").context["worked"]
    assert asked.amounts[0].demand_scf == pytest.approx(64.8)


def test_banks_stand_beside_the_need_by_real_gas() -> None:
    """50 L at 200 bar and 15 degC hold more oxygen than the ideal 10 000 L, by real gas (CoolProp 8.0.0: about 10 700)."""
    chamber = with_locks()
    filled_bank(chamber, 50, 200, key="full")
    filled_bank(chamber, 10, 100, key="small")
    filled_bank(chamber, 50, 200, timedelta(days=30), key="old")
    filled_bank(with_locks(), 50, 200, key="elsewhere")
    answer = page(client_of(chamber), chamber, **PLAIN)
    found = {one.state.bank.key: one for one in answer.context["banks"]}
    assert {key: one.mark for key, one in found.items()} == {"full": "indate", "small": "stop", "old": "unknown"}
    assert found["full"].state.litres > 10_000
    # hand sum: (153.82 + 30.27) scf x 28.317 L = 5 213 L, a fifth of it in reserve
    assert found["full"].needed == pytest.approx(5213 * 1.2, abs=3)


def test_a_plan_is_filled_in_and_put_in_force_by_a_person() -> None:
    chamber = with_locks()
    client = client_of(chamber)
    before = Event.objects.count()
    answer = page(client, chamber, "plan_from_table", table="TT6")
    form = answer.context["form"]
    assert Event.objects.count() == before, "looking changes nothing"
    assert [one.initial for one in answer.context["extensions"].forms[:2]] == [
        {"minutes": 25, "allowed": 2},
        {"minutes": 75, "allowed": 2},
    ]
    # 18 h before the next run as tender, revisions 6 and 7 from memory
    assert (form["table_min"].value(), form["wait_min"].value(), form["table"].value()) == (288, 1080, "TT6")
    sent = {name: form[name].value() for name in form.fields if form[name].value() is not None} | {
        "approved_by": "Dr Vale", "reason": "worked out", "needs": [], "in_force_from": "1 Mar 2026 08:00", "place": "1",
        "crew_waivable": "on", "extension-TOTAL_FORMS": "4", "extension-INITIAL_FORMS": "2",
        "extension-0-minutes": "25", "extension-0-allowed": "2", "extension-1-minutes": "75", "extension-1-allowed": "2",
        "role-TOTAL_FORMS": "1", "role-INITIAL_FORMS": "0", "role-0-role": "supervisor", "role-0-count": "1",
    }  # fmt: skip
    address = re.search(r'<form method="post"[^>]* action="([^"]+)"', answer.content.decode())
    assert address is not None
    stored = client.post(address[1], sent)
    assert stored.status_code == 302, stored.context["form"].errors
    plan = Plan.objects.get()
    assert plan.gas["O2"]["demand"] > 0
    # what is in force agrees with its table: nothing is found beside it
    beside = client.get(stored.headers["Location"]).context["beside"]
    assert {row.words for row in beside.rows} == {"the same"}
    assert not beside.findings


def test_a_new_version_keeps_name_crew_and_needs_of_the_plan_before() -> None:
    chamber = with_locks()
    client = client_of(chamber)
    old = plan_of(chamber, table="TT5", name="Short one")
    answer = page(client, chamber, "plan_from_table", table="TT5", old=str(old.pk))
    form = answer.context["form"]
    assert "key" not in form.fields
    assert form["name"].value() == "Short one"
    assert f"/plans/{old.pk}/change/" in answer.content.decode()


def test_a_plan_of_one_chamber_is_never_filled_in_from_the_locks_of_another() -> None:
    chamber = with_locks()
    old = plan_of(chamber, table="TT5")
    other = make.chamber(chamber.site)
    make.lock(other)
    asked = {"table": "TT5", "chamber": str(other.pk), "old": str(old.pk), "outer_fills": "0", "medical_fills": "0"}
    client = client_of(chamber)
    answer = page(client, chamber, **asked)
    assert answer.status_code == 422
    assert "This plan is of" in words_of(answer)
    assert page(client, chamber, "plan_from_table", **asked).status_code == 302
    # a plan of another site is no plan here
    foreign = plan_of(with_locks(), table="TT5")
    assert page(client, chamber, table="TT5", old=str(foreign.pk)).status_code == 422


def test_only_those_who_keep_the_rules_may_fill_a_plan_in() -> None:
    chamber = with_locks()
    client = signed_in(make.user(chamber.site, "tender"))
    assert page(client, chamber, **PLAIN).status_code == 200
    assert page(client, chamber, "plan_from_table", **PLAIN).status_code in (403, 404)


def test_what_cannot_be_worked_out_leads_back_to_the_sums() -> None:
    chamber = with_locks()
    answer = page(client_of(chamber), chamber, "plan_from_table", **(PLAIN | {"at_60": "9"}))
    assert answer.status_code == 302
    assert "/plans/make/?" in answer.headers["Location"]


def test_a_table_of_the_site_is_planned_once_it_is_approved() -> None:
    chamber = with_locks()
    site = chamber.site
    client = client_of(chamber)
    row = propose(site, "house-oxygen", PARTS, "house book", by=actor(director(site)))
    asked = {"table": "house-oxygen", "tender_minutes": "11"}
    assert page(client, chamber, **asked).status_code == 422
    approve(row, shown_digest=as_in_force(row).digest, by=actor(director(site, "Olav", "Dahl")))
    worked = page(client, chamber, **asked).context["worked"]
    assert worked.demand.run_min == 3 + 76 + 35  # down at 11 fsw/min, the table, its one extension
