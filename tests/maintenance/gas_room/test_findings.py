"""Cross-checks over stored records: each finds what it should, and nothing where the records agree."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse

from facility import events, house, services
from facility.models import Answer, Chamber, Check, Site
from facility.readiness.gas_runs import ended_runs, of_runs, plans_left
from facility.readiness.services import evaluate_chamber
from maintenance.gas_room.check_readings import of_checks
from maintenance.gas_room.content import bank_states, courses
from maintenance.gas_room.findings import Finding, Look, of_plant
from maintenance.models import Calibration, CylinderAnalysis, DeliveredCylinder, GasBank, WorkRecord
from tests import make
from tests.facility.readiness_db import build
from tests.maintenance.gas_room.support import adopt, delivered, now, operator_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def chamber() -> Chamber:
    return make.chamber()


def look_at(site: Site) -> Look:
    """Return a look at a site now."""
    return Look(site, ZoneInfo(site.zone), events.now(), house.values(site))


def found(site: Site) -> list[Finding]:
    """Return every finding of a site."""
    look = look_at(site)
    states = bank_states(site, look.now, 1440)
    of_gas = of_runs(look, states, courses(states, look.now), ended_runs(look))
    return [*of_plant(look), *of_checks(look), *of_gas]


def bank_read(chamber: Chamber, *pressures: str, **fields: Any) -> GasBank:
    """Return an oxygen bank of one cylinder of 50 L, read once a day, the last time an hour ago."""
    bank = make.bank(chamber.site, chamber=chamber, **fields)
    build.cylinder(bank)
    for days, pressure in enumerate(reversed(pressures)):
        build.reading(bank, now() - timedelta(days=days, hours=1), pressure, temperature_c=Decimal(15))
    return bank


def test_where_everything_agrees_nothing_is_listed(chamber: Chamber) -> None:
    bank_read(chamber, "150", "149", "148")
    assert found(chamber.site) == []


def test_a_gauge_that_shows_one_value_for_a_week_is_listed_with_both_days(chamber: Chamber) -> None:
    """IMCA safety flash 27/23: the difference stood on a fixed gauge and nobody saw it."""
    bank = bank_read(chamber, *["150"] * 7)
    (one,) = found(chamber.site)
    assert one.about == bank.name
    assert "the same 7 times" in one.second
    adopt(chamber.site, "same_value_days", 8)
    assert found(chamber.site) == []


def test_a_bank_that_falls_without_a_run_is_listed_and_with_one_it_is_not(chamber: Chamber) -> None:
    """By hand: 150 to 120 bar is a fifth of the content and more than the house's 5 %."""
    bank_read(chamber, "150", "120")
    (one,) = found(chamber.site)
    assert one.check == "Fell although no run drew on it"
    plan = build.plan(chamber, "table-6")
    middle = now() - timedelta(hours=12)
    build.run(plan, middle, middle + timedelta(hours=5), middle + timedelta(hours=5))
    assert found(chamber.site) == []


def run_between(chamber: Chamber, demand: int) -> Any:
    """Return a run between the two readings, whose plan demands so much oxygen."""
    plan = build.plan(chamber, "table-6", gas={"O2": {"demand": demand, "reserve": 0}})
    middle = now() - timedelta(hours=12)
    return build.run(plan, middle, middle + timedelta(hours=5), middle + timedelta(hours=5))


@pytest.mark.parametrize(("demand", "listed"), [(1600, False), (3000, True), (800, True)])
def test_gas_drawn_is_laid_beside_gas_expected(chamber: Chamber, demand: int, listed: bool) -> None:
    """CoolProp 8.0.0: 50 L of oxygen at 15 degC hold 8 000 L at 150 bar gauge and 6 390 L at 120: 1 610 L drawn."""
    bank_read(chamber, "150", "120")
    run = run_between(chamber, demand)
    findings = found(chamber.site)
    assert [one.check for one in findings] == (["Gas drawn against gas expected"] if listed else [])
    if listed:
        assert findings[0].url == reverse("treatments:run", args=[chamber.site.key, run.pk])
        litres = int(findings[0].second.split()[1])
        assert litres == pytest.approx(1610, abs=25)


def test_a_passed_analysis_of_the_other_gas_is_listed(chamber: Chamber) -> None:
    bank = bank_read(chamber, "150")
    analysis = CylinderAnalysis(cylinder=bank.cylinders.get(), analysed_at=now() - timedelta(days=1), result="passed",
                                oxygen_percent=Decimal("20.9"), analysed_by="Ina Test")  # fmt: skip
    services.add(analysis, by=make.BY)
    (one,) = found(chamber.site)
    assert one.check == "Could the gas be wrong?"
    assert "20.9" in one.second


def test_a_certificate_older_than_the_instrument_is_listed(chamber: Chamber) -> None:
    gauge = make.equipment(chamber.site, in_service_on=date(2021, 6, 1))
    rule = make.rule(gauge)
    make.work(rule, date(2021, 3, 1))
    assert found(chamber.site) == []  # a new instrument brings its maker's certificate
    make.work(rule, date(2019, 3, 1))
    (one,) = found(chamber.site)
    assert (one.first, one.check) == ("dated 1 Mar 2019", "Certificate older than the instrument")
    assert f"equipment={gauge.pk}" in one.defect


def test_an_analysis_before_the_cylinder_came_in_is_listed(chamber: Chamber) -> None:
    row = delivered(chamber.site)
    row.analysed_at = row.delivery.received_at - timedelta(hours=2)
    services.change(row, by=make.BY, reason="as typed", shown_version=row.row_version)
    assert [one.check for one in found(chamber.site)] == ["Time goes backwards"]
    assert DeliveredCylinder.objects.count() == 1


def answered(of: Any, at: datetime, **values: str) -> Check:
    """Return a check with readings of its steps."""
    number = of.checks.count() + 1
    check = services.add(
        Check(sheet=of, version=of.versions.get(), number=number, started_at=at, started_by="Ina Test"), by=make.BY
    )
    for step, value in values.items():
        answer = Answer(check_done=check, step=step, outcome="good", value=value, unit="fsw", occurred_at=at)
        services.add(answer, by=make.BY)
    return check


def gauge_of(chamber: Chamber, lock: Any, tag: str) -> Any:
    """Return a depth gauge of a lock, 0 to 250 fsw by its calibration."""
    item = make.equipment(chamber.site, tag=tag, chamber=chamber, lock=lock)
    work: WorkRecord = make.work(make.rule(item), now().date())
    calibration = Calibration(work=work, equipment=item, done_on=work.done_on, unit="fsw", scale_low=Decimal(0),
                              scale_high=Decimal(250), done_by="Ina Test", as_found=[{"reference": "0", "up": "0"}],
                              choices={"limit": "1"}, means={"k": "2"}, laboratory="Elsewhere")  # fmt: skip
    services.add(calibration, by=make.BY)
    return item


@pytest.mark.parametrize(("second", "listed"), [("160", False), ("159", True)])
def test_two_gauges_of_one_lock_more_than_two_percent_of_full_scale_apart_are_listed(
    chamber: Chamber, second: str, listed: bool
) -> None:
    """46 CFR 197.458(b), by hand: 2 % of 250 fsw is 5 fsw; 165 and 160 do not ask for a test, 165 and 159 do."""
    lock = make.lock(chamber)
    steps = [
        {"key": tag.lower(), "group": "Panel", "kind": "reading", "text": tag, "unit": "fsw", "tag": tag}
        for tag in ("DG-A", "DG-B")
    ]
    for tag in ("DG-A", "DG-B"):
        gauge_of(chamber, lock, tag)
    sheet = make.sheet(chamber, steps)
    answered(sheet, now() - timedelta(hours=1), **{"dg-a": "165", "dg-b": second})
    findings = found(chamber.site)
    assert [one.check for one in findings] == (["Two gauges of one lock"] if listed else [])


def test_a_reading_of_the_daily_check_that_never_moves_is_listed(chamber: Chamber) -> None:
    sheet = make.sheet(chamber)
    for days in range(7):
        answered(sheet, now() - timedelta(days=days, hours=1), supply="8.2")
    (one,) = found(chamber.site)
    assert one.about.startswith("Oxygen supply")


def test_a_set_point_and_a_count_that_stay_the_same_are_not_listed(chamber: Chamber) -> None:
    step = {"group": "Panel", "kind": "reading"}
    sheet = make.sheet(
        chamber,
        [
            {**step, "key": "alarm", "text": "Alarm for high oxygen", "unit": "%", "setpoint": True},
            {**step, "key": "masks", "text": "Masks fitted", "unit": "masks"},
        ],
    )
    for days in range(7):
        answered(sheet, now() - timedelta(days=days, hours=1), alarm="23.5", masks="5")
    assert found(chamber.site) == []


def test_runs_left_are_counted_bank_by_bank(chamber: Chamber) -> None:
    """CoolProp 8.0.0: 50 L of oxygen at 150 bar gauge and 15 degC hold 8 000 L, one atmosphere stays: 7 950 L.
    By hand: (7 950 - 1 000) / 3 000 = 2.3; a bank of 40 bar holds 2 000 L: none."""
    full, low = bank_read(chamber, "150"), bank_read(chamber, "40")
    build.plan(chamber, "table-6", build.need(chamber, "oxygen", full, low, gas="O2"),
               gas={"O2": {"demand": 3000, "reserve": 1000}})  # fmt: skip
    (row,) = plans_left(evaluate_chamber(chamber, now()))
    assert [one.runs for one in row.banks] == [2, 0]
    assert (row.runs, row.unread) == (2, False)
    page = operator_of(chamber.site).get(reverse("maintenance:gas", args=[chamber.site.key])).content.decode()
    assert "TABLE-6" in page
