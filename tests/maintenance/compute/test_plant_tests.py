"""Sums of single tests, months typed for days, time down and what a defect does, against outside sources."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from facility.compute.typed import TypedError
from maintenance.compute.outage import Hit, NeedSeen, down_min, reasons, together_min
from maintenance.compute.plant_tests import TestError, day_or_month, flow_density, oxygen_error_bar, relief

D = Decimal
UNIT: Any = pint.UnitRegistry()
NOON = datetime(2026, 3, 12, 12, tzinfo=UTC)


def test_a_relief_valve_may_open_three_percent_off_its_setting() -> None:
    """ASME VIII-1: set pressure tolerance of 3 % above 70 psi (from memory). 100 psi: 97 to 103 psi, both included."""
    found = relief(D(100), D(103), D(93), D(3))
    assert (found.low, found.high, found.deviation_percent) == (D(97), D(103), D(3))
    # blowdown is the fall from opening to shutting in percent: (103 - 93) / 103, common practice, no source
    assert found.blowdown_percent is not None
    assert abs(found.blowdown_percent - D(1000) / D(103)) < D("1e-20")


@pytest.mark.parametrize(("setting", "reseated", "said"), [("0", "0", "above 0"), ("100", "101", "shuts below")])
def test_a_relief_valve_that_cannot_be_is_refused(setting: str, reseated: str, said: str) -> None:
    with pytest.raises(TestError, match=said):
        relief(D(setting), D(100), D(reseated), D(3))


def test_two_gallons_a_square_foot_are_the_metric_figure_beside_it() -> None:
    """NFPA 99 as remembered gives 2 gal/min and ft2 = 81.5 L/min and m2; pint agrees to the tenth."""
    said = UNIT.Quantity(2, "gallon / minute / foot ** 2").to("liter / minute / meter ** 2")
    assert round(said.magnitude, 1) == 81.5
    flow = D(str(UNIT.Quantity(2 * 40, "gallon / minute").to("liter / minute").magnitude))
    area = D(str(UNIT.Quantity(40, "foot ** 2").to("meter ** 2").magnitude))
    assert abs(float(flow_density(flow, area)) - said.magnitude) < 1e-9
    with pytest.raises(TestError, match="above 0"):
        flow_density(D(100), D(0))


def test_an_oxygen_analyser_is_off_by_a_partial_pressure() -> None:
    """1 % of oxygen at one standard atmosphere is 0.0101325 bar (definition of the atmosphere)."""
    assert oxygen_error_bar(D("21.9"), D("20.9"), D("1.01325")) == D("0.0101325")


@pytest.mark.parametrize(
    ("text", "day", "month"),
    [
        ("Feb 2028", date(2028, 2, 29), True),  # a leap year
        ("2026-04", date(2026, 4, 30), True),
        ("12 Mar 2026", date(2026, 3, 12), False),
    ],
)
def test_a_month_alone_is_kept_as_its_last_day(text: str, day: date, month: bool) -> None:
    """Cylinder stamps carry month and year: due at the month's end, common practice, no source."""
    assert day_or_month(text) == (day, month)


@pytest.mark.parametrize("text", ["13 2026", "2026-13", "03/2026", "Smarch 2026", ""])
def test_a_month_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(TypedError):
        day_or_month(text)


SPANS = st.lists(st.tuples(st.integers(0, 300), st.integers(0, 300)).map(sorted), max_size=8)


@given(SPANS)
def test_a_minute_under_two_defects_counts_once(pairs: list[list[int]]) -> None:
    """Against a count of the minutes one by one."""
    spans = [(NOON + timedelta(minutes=a), NOON + timedelta(minutes=b)) for a, b in pairs]
    assert together_min(spans) == len({minute for a, b in pairs for minute in range(a, b)})


def test_time_down_is_cut_to_whole_minutes_and_never_negative() -> None:
    assert down_min(NOON, NOON + timedelta(minutes=61, seconds=59)) == 61
    assert down_min(NOON, NOON - timedelta(hours=1)) == 0


def seen(k: int, good: int, limited: int = 0, *, limits_only: bool = False) -> NeedSeen:
    return NeedSeen("depth", k, good + limited + 1, good, limited, limits_only, ("t6",))


@pytest.mark.parametrize(
    ("need", "out", "hit"),
    [
        (seen(1, 1), True, Hit.HOLDS),  # one of two gauges is enough
        (seen(2, 1), True, Hit.STOPPED),
        (seen(2, 1), False, Hit.LIMITED),
        (seen(2, 1, 1), True, Hit.LIMITED),
        (seen(2, 1, limits_only=True), True, Hit.LIMITED),
        (seen(1, 0), True, Hit.STOPPED),
    ],
)
def test_a_need_holds_as_long_as_enough_members_are_left(need: NeedSeen, out: bool, hit: Hit) -> None:
    """The rule of readiness: met by at least k of its members; a restricted one counts as limited."""
    assert [one.hit for one in reasons([need], out=out)] == [hit]
    assert reasons([need], out=out, only=["other"]) == []


@given(st.integers(1, 4), st.integers(0, 4), st.integers(0, 4))
def test_a_restriction_never_does_more_than_taking_out(k: int, good: int, limited: int) -> None:
    order = list(Hit)
    need = seen(k, good, limited)
    (out,), (restricted,) = reasons([need], out=True), reasons([need], out=False)
    assert order.index(restricted.hit) <= order.index(out.hit)
