"""What counters, lives, events, looks and doubts do to readiness. The rule or code stands beside each."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest

from facility.compute import facts as f
from facility.compute.instants import instant_of
from facility.compute.readiness import evaluate
from facility.models import Chamber
from facility.readiness.gather import gather
from maintenance.models import CylinderAnalysis, Equipment, IntervalRule
from tests import make
from tests.facility.readiness_db import build
from tests.maintenance.upkeep import support as up

pytestmark = [pytest.mark.django_db, pytest.mark.both]
T = build.T


@pytest.fixture
def chamber() -> Chamber:
    return make.chamber(make.site(zone="Europe/Oslo"))


@pytest.fixture
def item(chamber: Chamber) -> Equipment:
    return make.equipment(chamber.site, tag="G1", in_service_on=date(2019, 3, 1))


def rule(item: Equipment, **fields: object) -> IntervalRule:
    return make.rule(item, **{"name": "test", "months": 0} | fields)


def state(chamber: Chamber, item: Equipment, at: datetime = T) -> str:
    if not chamber.plans.exists():
        build.plan(chamber, "p", build.need(chamber, "n", item))
    (found,) = gather([chamber], at).values()
    return str(evaluate(found, instant_of(at))["p"].state)


def facts(chamber: Chamber, item: Equipment) -> f.Equipment:
    state(chamber, item)
    (found,) = gather([chamber], T).values()
    member = found.members[f"equipment:{item.tag}"]
    assert isinstance(member, f.Equipment)
    return member


def days(count: int) -> date:
    return (T + timedelta(days=count)).date()


def test_a_count_that_this_run_reaches_exactly_is_enough(chamber: Chamber, item: Equipment) -> None:
    """Equal is enough (readiness: amounts and counters)."""
    cycles = up.counter(chamber.site, chamber=chamber)
    rule(item, counter=cycles, count_life=Decimal(10000), count_at_fitting=Decimal(100))
    up.reading(cycles, days(-1), "10099")
    assert facts(chamber, item).counters == (f.Counter("test / life by count", 9999, 10000, 1, 0),)
    assert state(chamber, item) == "Ready"
    up.reading(cycles, days(-1), "10100")
    assert state(chamber, item) == "Not ready"


def test_hours_of_the_run_itself_count(chamber: Chamber, item: Equipment) -> None:
    hours = up.counter(chamber.site, unit="hours", per_run=Decimal(0), per_hour=Decimal("1.5"))
    make.work(rule(item, counter=hours, count_every=Decimal(500)), days(-30), count=Decimal("120.5"))
    up.reading(hours, days(-1), "600.25")
    found = facts(chamber, item).counters
    assert found == (f.Counter("test / counter", Fraction("479.75"), 500, 0, Fraction(3, 2)),)


def test_a_counter_never_read_is_not_known(chamber: Chamber, item: Equipment) -> None:
    make.work(rule(item, counter=up.counter(chamber.site), count_every=Decimal(50)), days(-9), count=Decimal(5))
    assert state(chamber, item) == "Not known"


def test_a_replaced_meter_goes_on_from_the_old_one(chamber: Chamber, item: Equipment) -> None:
    cycles = up.counter(chamber.site)
    rule(item, counter=cycles, count_life=Decimal(1000))
    up.reading(cycles, days(-20), "990")
    up.replaced(cycles, days(-10), "995", "0")
    up.reading(cycles, days(-10), "2")
    assert facts(chamber, item).counters[0].count == 997


def test_life_by_age_ends_after_its_last_day(chamber: Chamber, item: Equipment) -> None:
    """In service 1 March 2019, ten years: 1 March 2029, by hand."""
    rule(item, life_months=120)
    due = facts(chamber, item).due
    assert due == (f.Due("test / life by age", f.DueDate(date(2029, 3, 1), 0)),)


def test_a_life_without_a_beginning_is_not_known(chamber: Chamber) -> None:
    loose = make.equipment(chamber.site, tag="G2")
    rule(loose, life_months=120)
    assert state(chamber, loose) == "Not known"


def test_an_event_after_the_last_act_takes_the_item_out(chamber: Chamber, item: Equipment) -> None:
    """Pressure test each time it is moved (U.S. Navy 22-6.2); an act of the same day comes after it."""
    asked = rule(item, months=24, triggers="moved, repaired")
    make.work(asked, days(-30))
    assert state(chamber, item) == "Ready"
    up.happening(item, "opened", days(-3))
    assert state(chamber, item) == "Ready"
    up.happening(item, "moved", days(-2))
    assert state(chamber, item) == "Not ready"
    make.work(asked, days(-2))
    assert state(chamber, item) == "Ready"


def test_a_clean_look_puts_a_vessel_test_off_to_its_hard_stop(chamber: Chamber, item: Equipment) -> None:
    """UFC 3-430-07: test April 2015, looks every three years: due April 2021, put off to 2024, hard stop April 2027."""
    vessel = rule(item, months=72, defer_months=36, hard_stop_months=144)
    make.work(vessel, date(2015, 4, 30), month_only=True)
    assert facts(chamber, item).due[0].until == f.DueDate(date(2021, 4, 30), 0)
    up.look(vessel, date(2018, 4, 12))  # an early look puts nothing off
    assert facts(chamber, item).due[0].until == f.DueDate(date(2021, 4, 30), 0)
    up.look(vessel, date(2021, 4, 12))
    assert facts(chamber, item).due[0].until == f.DueDate(date(2024, 4, 30), 0)
    up.look(vessel, date(2024, 4, 20))
    assert facts(chamber, item).due[0].until == f.DueDate(date(2027, 4, 30), 0)
    up.look(vessel, date(2027, 4, 20))
    assert facts(chamber, item).due[0].until == f.DueDate(date(2027, 4, 30), 0)


def test_an_overdue_act_that_limits_restricts_from_its_due_day(chamber: Chamber, item: Equipment) -> None:
    make.work(rule(item, months=1, effect="limits"), days(-100))
    assert state(chamber, item) == "Ready with limits"


def test_an_act_that_limits_and_was_never_recorded_restricts_from_the_start(chamber: Chamber, item: Equipment) -> None:
    rule(item, months=1, effect="limits")
    assert state(chamber, item) == "Ready with limits"


def test_a_fixed_anchor_keeps_its_day_when_done_inside_the_window(chamber: Chamber, item: Equipment) -> None:
    """Next = due + interval when done inside the window, else done + interval (TM 1-1500-328-23)."""
    survey = rule(item, months=12, anchor="fixed", window_kind="symmetric", window_months=3)
    make.work(survey, date(2023, 5, 15))
    make.work(survey, date(2024, 8, 15))  # three months late to the day: inside
    assert facts(chamber, item).due[0].until == f.DueDate(date(2025, 5, 15), 0)
    make.work(survey, date(2025, 8, 16))  # a day later: outside
    assert facts(chamber, item).due[0].until == f.DueDate(date(2026, 8, 16), 0)


def test_a_month_stamp_is_good_to_the_end_of_its_month(chamber: Chamber, item: Equipment) -> None:
    make.work(rule(item, months=1), date(2026, 2, 28), month_only=True)
    assert facts(chamber, item).due[0].until == f.DueDate(date(2026, 3, 31), 0)


def test_a_record_that_waits_for_a_second_look_does_not_count(chamber: Chamber, item: Equipment) -> None:
    calibrated = rule(item, months=6)
    make.work(calibrated, days(-40))
    make.work(calibrated, days(-2), needs_second_look=True)
    assert state(chamber, item) == "Not known"


def test_a_record_in_doubt_does_not_count(chamber: Chamber, item: Equipment) -> None:
    done = make.work(rule(item, months=6), days(-2))
    assert state(chamber, item) == "Ready"
    up.doubt(done, make.equipment(chamber.site))
    assert state(chamber, item) == "Not known"


def test_a_doubted_analysis_is_no_analysis(chamber: Chamber) -> None:
    bank = make.bank(chamber.site)
    build.cylinder(bank)
    analysis = CylinderAnalysis.objects.get()
    build.plan(chamber, "p", build.need(chamber, "n", bank, gas="O2"))
    (before,) = gather([chamber], T).values()
    up.doubt(analysis, make.equipment(chamber.site))
    (after,) = gather([chamber], T).values()
    found = [one.members[f"bank:{bank.key}"] for one in (before, after)]
    assert [bank.cylinders[0].analysis for bank in found if isinstance(bank, f.Bank)] == ["passed", None]
