"""Equipment, defects, checks and gas banks from rows. Until when each is good, as in facility/compute."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from facility import services
from facility.compute import facts as f
from facility.compute.instants import instant_of
from facility.compute.readiness import evaluate
from facility.models import Chamber, HouseRule
from facility.readiness.gather import gather
from maintenance.models import Equipment, Opening
from tests import make
from tests.facility.readiness_db import build
from tests.facility.readiness_db.build import T

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def chamber() -> Chamber:
    return make.chamber(make.site(zone="Europe/Oslo"))


@pytest.fixture
def item(chamber: Chamber) -> Equipment:
    return make.equipment(chamber.site, tag="G1")


def facts_of(chamber: Chamber, member: Any, **plan: Any) -> f.Facility:
    if not chamber.plans.exists():
        gas = getattr(member, "gas", "")
        build.plan(chamber, "p", build.need(chamber, "n", member, gas=gas), **plan)
    (found,) = gather([chamber], T).values()
    return found


def state(chamber: Chamber, member: Any, at: datetime = T, **plan: Any) -> str:
    facts_of(chamber, member, **plan)
    (found,) = gather([chamber], at).values()
    return str(evaluate(found, instant_of(at))["p"].state)


def equipment(chamber: Chamber, item: Equipment) -> f.Equipment:
    found = facts_of(chamber, item).members[f"equipment:{item.tag}"]
    assert isinstance(found, f.Equipment)
    return found


def test_an_item_is_due_from_its_newest_passed_act(chamber: Chamber, item: Equipment) -> None:
    rule = make.rule(item, months=6)
    make.work(rule, date(2026, 1, 31))
    make.work(rule, date(2025, 7, 1))
    # 31 January and six months: 31 July, by the calendar
    assert equipment(chamber, item).due == (f.Due("calibration", f.DueDate(date(2026, 7, 31), 0)),)
    assert state(chamber, item) == "Not ready"


def test_a_date_on_the_certificate_goes_before_the_interval(chamber: Chamber, item: Equipment) -> None:
    make.work(make.rule(item, months=6), date(2026, 11, 1), due_on=date(2026, 12, 24))
    assert equipment(chamber, item).due[0].until == f.DueDate(date(2026, 12, 24), 0)


def test_never_recorded_is_not_known(chamber: Chamber, item: Equipment) -> None:
    make.rule(item, months=6)
    assert equipment(chamber, item).due == (f.Due("calibration", None),)
    assert state(chamber, item) == "Not known"


def test_an_item_with_nothing_on_record_is_not_known(chamber: Chamber, item: Equipment) -> None:
    assert state(chamber, item) == "Not known"


@pytest.mark.parametrize(
    ("result", "expected"), [("passed", "Ready"), ("could not read", "Not known"), ("failed", "Not ready")]
)
def test_the_newest_result_counts_though_an_older_pass_is_in_date(
    chamber: Chamber, item: Equipment, result: str, expected: str
) -> None:
    rule = make.rule(item, months=12)
    make.work(rule, date(2026, 11, 1))
    make.work(rule, date(2026, 11, 20), result=result)
    assert state(chamber, item) == expected


def test_a_pass_under_another_rule_does_not_wash_out_a_failure(chamber: Chamber, item: Equipment) -> None:
    calibration, function = make.rule(item, months=12), make.rule(item, name="function test", months=12)
    make.work(calibration, date(2026, 11, 1))
    make.work(calibration, date(2026, 11, 2), result="failed")
    make.work(function, date(2026, 11, 20))
    assert state(chamber, item) == "Not ready"


def test_a_failure_outside_any_rule_counts_while_it_is_the_newest(chamber: Chamber, item: Equipment) -> None:
    rule = make.rule(item, months=12)
    make.work(rule, date(2026, 11, 1))
    make.work(rule, date(2026, 11, 3), rule=None, result="failed")
    assert state(chamber, item) == "Not ready"


def test_superseded_work_and_rules_that_do_not_count_say_nothing(chamber: Chamber, item: Equipment) -> None:
    rule = make.rule(item, months=12)
    make.work(rule, date(2026, 11, 1))
    services.retire(make.work(rule, date(2026, 11, 5), result="failed"), by=make.BY, reason="wrong item")
    make.rule(item, name="repainting", months=1, counts=False)
    assert state(chamber, item) == "Ready"


def test_work_recorded_for_a_later_day_does_not_count_before_it(chamber: Chamber, item: Equipment) -> None:
    make.work(make.rule(item, months=12), date(2026, 12, 20))
    assert state(chamber, item) == "Not known"


@pytest.mark.parametrize(("keeps_good", "expected"), [(0, "Not ready"), (1, "Ready")])
def test_a_late_window_counts_only_by_the_house_rule(
    chamber: Chamber, item: Equipment, keeps_good: int, expected: str
) -> None:
    make.work(make.rule(item, months=0, days=10, window_days=5), date(2026, 11, 14))  # due 24 Nov, window to 29 Nov
    services.add(
        HouseRule(
            site=chamber.site, key="window_keeps_good", value=Decimal(keeps_good), approved_by="Ina Test",
            in_force_from=build.LONG_AGO,
        ),
        by=make.BY,
    )  # fmt: skip
    assert state(chamber, item) == expected


def test_service_life_is_good_through_its_last_day(chamber: Chamber) -> None:
    item = build.good_gauge(chamber, life_ends_on=date(2026, 11, 27))
    # 27 November ends in Oslo at 23:00 UTC; a run of one hour must end before
    assert state(chamber, item, datetime(2026, 11, 27, 21, 59, tzinfo=UTC)) == "Ready"
    assert state(chamber, item, datetime(2026, 11, 27, 22, 0, tzinfo=UTC)) == "Not ready"


@pytest.mark.parametrize(
    ("effect", "expected"), [("stops", "Not ready"), ("limits", "Ready with limits"), ("watch", "Ready")]
)
def test_a_defect_acts_by_its_effect(chamber: Chamber, effect: str, expected: str) -> None:
    item = build.good_gauge(chamber)
    build.defect(item, T - HOUR, effect=effect)
    assert state(chamber, item) == expected


def test_when_something_is_expected_back_never_counts(chamber: Chamber) -> None:
    item = build.good_gauge(chamber)
    build.defect(item, T - HOUR, expected_back=date(2026, 11, 28))
    facts = facts_of(chamber, item)
    assert evaluate(facts, instant_of(T))["p"].ready_from is None


def test_a_returned_item_counts_again_at_once(chamber: Chamber) -> None:
    item = build.good_gauge(chamber)
    build.defect(item, T - HOUR, returned_at=T + timedelta(seconds=20))
    assert state(chamber, item, T + timedelta(seconds=10)) == "Not ready"
    assert state(chamber, item, T + timedelta(seconds=30)) == "Ready"


def test_a_defect_of_other_plans_does_not_act(chamber: Chamber) -> None:
    item = build.good_gauge(chamber)
    build.defect(item, T - HOUR, plans=["q"])
    need = build.need(chamber, "n", item)
    build.plan(chamber, "p", need)
    build.plan(chamber, "q", need)
    (facts,) = gather([chamber], T).values()
    found = evaluate(facts, instant_of(T))
    assert (found["p"].state, found["q"].state) == ("Ready", "Not ready")


def test_a_retired_item_or_membership_no_longer_helps(chamber: Chamber) -> None:
    items = [build.good_gauge(chamber), build.good_gauge(chamber)]
    need = build.need(chamber, "n", *items, k=2)
    build.plan(chamber, "p", need)
    assert state(chamber, items[0]) == "Ready"
    services.retire(items[1], by=make.BY, reason="scrapped")
    assert state(chamber, items[0]) == "Not ready"


@pytest.mark.parametrize(
    ("result", "expected"),
    [("passed", "Ready"), ("limits", "Ready with limits"), ("unread", "Not known"), ("failed", "Not ready")],
)
def test_the_newest_signed_check_counts(chamber: Chamber, result: str, expected: str) -> None:
    sheet = build.sheet(chamber)
    build.signed(sheet, T - 3 * HOUR)
    build.signed(sheet, T - 2 * HOUR, result)
    assert state(chamber, sheet) == expected


@pytest.mark.parametrize(("age", "expected"), [(23, "Ready"), (24, "Not known")])
def test_a_check_is_too_old_at_its_age_limit(chamber: Chamber, age: int, expected: str) -> None:
    sheet = build.sheet(chamber)
    build.signed(sheet, T - age * HOUR)
    assert state(chamber, sheet) == expected


@pytest.mark.parametrize(("hours", "expected"), [(3, "Ready"), (2, "Not known"), (1, "Not known")])
def test_a_chamber_opened_at_or_after_signing_is_not_known(chamber: Chamber, hours: int, expected: str) -> None:
    sheet = build.sheet(chamber)
    build.signed(sheet, T - 2 * HOUR)
    services.add(Opening(chamber=chamber, opened_at=T - hours * HOUR, work="new seal"), by=make.BY)
    assert state(chamber, sheet) == expected


GAS: dict[str, Any] = {"gas": {"O2": {"demand": 6000, "reserve": 1000}}}


def content(bank: f.Bank) -> list[tuple[Any, Any]]:
    return [(one.usable, one.analysis) for one in bank.cylinders]


def test_the_content_of_a_bank_is_that_of_its_cylinders_by_real_gas(chamber: Chamber) -> None:
    bank = make.bank(chamber.site)
    build.cylinder(bank)
    build.reading(bank, T - HOUR)
    found = facts_of(chamber, bank, **GAS).members[f"bank:{bank.key}"]
    assert isinstance(found, f.Bank)
    ((usable, analysis),) = content(found)
    # CoolProp 6 (Schmidt and Wagner 1985 for oxygen) at 288.15 K, from 15 101.325 kPa to 101.325 kPa, 50 L
    oracle = pytest.importorskip("CoolProp.CoolProp", reason="the oracle of gas densities is not installed")
    full, empty = (oracle.PropsSI("D", "T", 288.15, "P", p, "Oxygen") for p in (15_101_325, 101_325))
    assert usable == pytest.approx((full - empty) * 50 / empty, rel=0.002)
    assert analysis == "passed"


@pytest.mark.parametrize("analysis", ["", "failed"])
def test_a_cylinder_counts_for_nothing_until_its_analysis_has_passed(chamber: Chamber, analysis: str) -> None:
    bank = make.bank(chamber.site)
    build.cylinder(bank, analysis=analysis)
    build.reading(bank, T - HOUR)
    assert state(chamber, bank, **GAS) == "Not ready"


@pytest.mark.parametrize(("age", "expected"), [(23, "Ready"), (24, "Not known")])
def test_a_reading_is_too_old_at_its_age_limit(chamber: Chamber, age: int, expected: str) -> None:
    bank = make.bank(chamber.site)
    build.cylinder(bank)
    build.reading(bank, T - age * HOUR)
    assert state(chamber, bank, **GAS) == expected


def test_a_bank_never_read_is_not_known(chamber: Chamber) -> None:
    bank = make.bank(chamber.site)
    build.cylinder(bank)
    assert state(chamber, bank, **GAS) == "Not known"


def test_a_newer_reading_of_one_cylinder_counts_for_it_alone(chamber: Chamber) -> None:
    bank = make.bank(chamber.site)
    first, _second = build.cylinder(bank), build.cylinder(bank)
    build.reading(bank, T - 2 * HOUR)
    build.reading(bank, T - HOUR, "50", cylinder=first)
    found = facts_of(chamber, bank, **GAS).members[f"bank:{bank.key}"]
    assert isinstance(found, f.Bank)
    low, high = (one.usable for one in found.cylinders)
    assert low is not None
    assert high is not None
    assert low < high / 2


def test_what_lies_below_the_minimum_pressure_is_not_counted(chamber: Chamber) -> None:
    bank = make.bank(chamber.site, minimum_pressure=Decimal(150))
    build.cylinder(bank)
    build.reading(bank, T - HOUR)
    found = facts_of(chamber, bank, **GAS).members[f"bank:{bank.key}"]
    assert isinstance(found, f.Bank)
    assert [one.usable for one in found.cylinders] == [0]


def test_a_reading_outside_the_gas_law_is_not_known(chamber: Chamber) -> None:
    bank = make.bank(chamber.site)
    build.cylinder(bank)
    build.reading(bank, T - HOUR, temperature_c=Decimal(80))
    assert state(chamber, bank, **GAS) == "Not known"
