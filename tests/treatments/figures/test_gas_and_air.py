"""Gas drawn against expected, and the air of a run, from stored readings; outside sources named beside each check."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from CoolProp.CoolProp import PropsSI
from django.db import connection
from django.test.utils import CaptureQueriesContext

from facility import services
from maintenance.models import BankReading, Cylinder, GasBank
from tests import make
from tests.treatments.figures.story import LEFT, entry, place, run_of, table_six
from tests.treatments.test_runs import plan_of
from treatments.figures.state import figures_of
from treatments.models import Need, NeedMember, Run

if TYPE_CHECKING:
    from datetime import datetime

    from treatments.models import RunPlace

pytestmark = pytest.mark.django_db


def breathing_from(*litres: str) -> tuple[Run, GasBank, list[Cylinder]]:
    """Return a run whose plan rests on an oxygen bank of these cylinders."""
    chamber = make.chamber()
    bank = make.bank(chamber.site, chamber=chamber)
    cylinders = [
        services.add(Cylinder(bank=bank, mark=f"C{n}", water_litres=Decimal(one)), by=make.BY)
        for n, one in enumerate(litres)
    ]
    need = services.add(Need(chamber=chamber, key="oxygen", name="Oxygen", gas="O2"), by=make.BY)
    services.add(NeedMember(need=need, bank=bank), by=make.BY)
    plan = plan_of(chamber, key="tt6", name="Table 6", table="TT6")
    plan.needs.add(need)
    return run_of(plan=plan), bank, cylinders


def read(
    bank: GasBank, at: datetime, pressure: str, celsius: str, cylinder: Cylinder | None = None, **more: Any
) -> None:
    services.add(
        BankReading(
            bank=bank, cylinder=cylinder, read_at=at, pressure=Decimal(pressure), temperature_c=Decimal(celsius),
            **{"unit": "bar", "read_by": "Ina Test"} | more,
        ),
        by=make.BY,
    )  # fmt: skip


def litres_by_coolprop(water: float, bar: float, celsius: float) -> float:
    """Return litres at 15 degC and 1 atm by the reference equation of state for oxygen in CoolProp."""
    density = PropsSI("D", "T", celsius + 273.15, "P", bar * 1e5 + 101_325, "Oxygen")
    standard = PropsSI("D", "T", 288.15, "P", 101_325, "Oxygen")
    return float(water * density / standard)


def ten_minutes_at_60(run: Run) -> RunPlace:
    patient = place(run, "patient", "patient 1")
    entry(run, 0, "left_surface")
    entry(run, 3, "reached_depth", depth="60")
    entry(run, 3, "oxygen_on", patient)
    entry(run, 13, "oxygen_off", patient)
    return patient


def test_gas_drawn_agrees_with_the_equation_of_state() -> None:
    run, bank, _cylinders = breathing_from("50", "40")
    ten_minutes_at_60(run)
    read(bank, LEFT - timedelta(hours=1), "150", "20")
    read(bank, LEFT + timedelta(minutes=14), "148.5", "18")
    oxygen = figures_of(run, LEFT + timedelta(minutes=15)).gas[0]
    expected = litres_by_coolprop(90, 150, 20) - litres_by_coolprop(90, 148.5, 18)
    assert oxygen.used_litres is not None
    assert oxygen.used_litres == pytest.approx(expected, abs=16)  # the fit is good to 0.0006 of 14 000 L, twice
    # 10 min at 60 fsw by hand: 0.3 acfm x 10 x 93/33 = 8.4545 scf; 28.3168 L a cubic foot
    assert oxygen.expected_scf == pytest.approx(8.4545, abs=1e-4)
    assert oxygen.percent == pytest.approx(100 * oxygen.used_litres / (8.4545 * 28.3168), rel=1e-4)


def test_cylinders_read_one_by_one_are_added() -> None:
    run, bank, (one, other) = breathing_from("50", "40")
    ten_minutes_at_60(run)
    for cylinder, before, after in ((one, "150", "147"), (other, "120", "120")):
        read(bank, LEFT - timedelta(hours=1), before, "15", cylinder)
        read(bank, LEFT + timedelta(minutes=14), after, "15", cylinder)
    oxygen = figures_of(run, LEFT + timedelta(minutes=15)).gas[0]
    expected = litres_by_coolprop(50, 150, 15) - litres_by_coolprop(50, 147, 15)
    assert oxygen.used_litres == pytest.approx(expected, abs=10)


def test_pressures_of_the_log_stand_in_for_readings_where_there_is_one_oxygen_bank() -> None:
    run, bank, _cylinders = breathing_from("50")
    ten_minutes_at_60(run)
    read(bank, LEFT - timedelta(hours=1), "150", "15")
    entry(run, 10, "reading", values={"bank_pressure": "145", "bank_unit": "bar"})
    oxygen = figures_of(run, LEFT + timedelta(minutes=15)).gas[0]
    assert oxygen.banks[0].after.startswith("145 bar")
    assert oxygen.used_litres == pytest.approx(
        litres_by_coolprop(50, 150, 15) - litres_by_coolprop(50, 145, 15), abs=10
    )


def test_a_bank_that_was_not_read_afterwards_is_not_known_and_never_nothing() -> None:
    run, bank, _cylinders = breathing_from("50")
    ten_minutes_at_60(run)
    read(bank, LEFT - timedelta(hours=1), "150", "15")
    oxygen = figures_of(run, LEFT + timedelta(minutes=15)).gas[0]
    assert (oxygen.used_litres, oxygen.percent) == (None, None)


def test_a_pressure_outside_the_gas_law_is_not_known() -> None:
    run, bank, _cylinders = breathing_from("50")
    ten_minutes_at_60(run)
    read(bank, LEFT - timedelta(hours=1), "900", "15")
    read(bank, LEFT + timedelta(minutes=14), "148", "15")
    assert figures_of(run, LEFT + timedelta(minutes=15)).gas[0].used_litres is None


def test_a_stop_of_the_ventilation_asks_for_twice_the_rate() -> None:
    """p. 22-16: one resting patient on a mask without dump 12.5 acfm at 60 fsw; stopped 4 min: 25 acfm for 4 min."""
    run = run_of()
    ten_minutes_at_60(run)
    entry(run, 5, "ventilation", values={"ventilation_acfm": "12.5"})
    entry(run, 8, "ventilation", values={"ventilation_acfm": "0"})
    found = figures_of(run, LEFT + timedelta(minutes=12)).ventilation
    assert found is not None
    assert (found.stopped_now, found.stopped_min, found.within_rule) == (True, 4, True)
    assert (found.catch_up_acfm, found.catch_up_min) == (25, 4)
    assert (found.asked[0].acfm, round(found.asked[0].scfm, 2)) == (12.5, 35.23)
    late = figures_of(run, LEFT + timedelta(minutes=12.9, hours=0, seconds=10)).ventilation
    assert late is not None
    assert not late.within_rule


@pytest.mark.parametrize(
    ("extensions", "minutes", "within"),
    [([], 288, True), ([("30", 1)], 363, False), ([("60", 2), ("30", 2)], 488, False)],
)
def test_at_87_degrees_a_table_six_fits_six_hours_only_without_an_extension_at_30(
    extensions: list[tuple[str, int]], minutes: float, within: bool
) -> None:
    """Table 21-4 of revision 4A: 85 to 94 degF, 6 h; 30.5 degC are 86.9 degF."""
    run = run_of()
    ten_minutes_at_60(run)
    entry(run, 5, "reading", values={"temperature_c": "30.5"})
    for depth, count in extensions:
        entry(run, 6, "extension", values={"extension_depth_fsw": depth, "extension_count": str(count)})
    found = figures_of(run, LEFT + timedelta(minutes=12)).temperature
    assert found is not None
    assert found.run_min == pytest.approx(minutes)
    assert (found.listed, found.within) == (True, within)


def test_more_extensions_than_the_table_states_are_planned_named_and_leave_the_tender_not_stated() -> None:
    """Two are allowed at 60 fsw (recalled); beyond that the handbook says nothing of the tender's oxygen."""
    run = run_of()
    ten_minutes_at_60(run)
    place(run, "tender", "A. Berg")
    entry(run, 6, "extension", values={"extension_depth_fsw": "60", "extension_count": "3"})
    found = figures_of(run, LEFT + timedelta(minutes=12))
    assert found.plan is not None
    assert found.plan.run_minutes == 288 + 75
    assert any("More is the physician" in one for one in found.remarks)
    tender = next(one for one in found.people if one.is_tender)
    assert {one.total_min for one in tender.owed} == {None}


def test_a_gauge_in_metres_of_sea_water_is_compared_as_the_pressure_it_shows() -> None:
    """18 msw = 58.76 fsw (1 msw = 3.2646 fsw, recalled): 1.24 fsw off the table's 60 is another stop."""
    run = run_of()
    place(run, "patient", "patient 1")
    entry(run, 0, "left_surface")
    entry(run, 3, "reached_depth", depth="18", depth_unit="msw")
    found = figures_of(run, LEFT + timedelta(minutes=20))
    assert found.depth.logged_fsw == pytest.approx(58.76, abs=0.005)
    assert found.stops[0].planned_min is None


def test_oxygen_is_told_beforehand_to_the_tender_by_the_longer_of_the_revisions() -> None:
    """Leaves 30 fsw at 283 min; 30 min there (revision 4A, one extension), 90 after a previous exposure (18 h rule)."""
    run, _people = table_six(until=140)
    found = figures_of(run, LEFT + timedelta(minutes=141))
    tender = next(one for one in found.next_events if one.due == "tender oxygen on")
    assert (tender.who, tender.minute) == (("A. Berg",), 283 - 90)


def test_the_number_of_queries_does_not_grow_with_the_log_or_the_crew() -> None:
    def counted(run: Run) -> int:
        fresh = Run.objects.select_related("chamber__site", "lock", "plan").get(pk=run.pk)
        with CaptureQueriesContext(connection) as seen:
            figures_of(fresh, LEFT + timedelta(hours=8))
        return len(seen)

    small = run_of()
    entry(small, 0, "left_surface")
    large, _people = table_six()
    assert counted(large) == counted(small) <= 7
