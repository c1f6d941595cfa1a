"""Comparison of two gauges and two clocks by 46 CFR 197.458(b) and (c)."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from facility.reference import load
from maintenance.compute.pairs import PairError, compare_clocks, compare_gauges
from maintenance.reference import FOLDER

RULES = load(FOLDER / "comparisons.toml")
PERCENT = RULES["gauge_pair"].number
CLOCK = RULES["clock_pair.difference"].number, RULES["clock_pair.span"].number


@pytest.mark.parametrize(
    ("first", "second", "tested"),
    [("165", "160", False), ("165", "159", True), ("60", "65", False), ("60", "65.5", True)],
)
def test_two_gauges_of_250_fsw_ask_for_a_test_beyond_two_percent(first: str, second: str, *, tested: bool) -> None:
    """46 CFR 197.458(b): more than 2 percent of full scale; 5 fsw of 250 is exactly 2 percent."""
    verdict = compare_gauges(Decimal(first), Decimal(second), Decimal(250), PERCENT, "fsw")
    assert (verdict.limit, verdict.needs_test) == (Decimal(5), tested)


@pytest.mark.parametrize(("apart", "span", "tested"), [("15", "4", False), ("16", "4", True), ("31", "8", True)])
def test_two_clocks_ask_for_a_test_beyond_a_quarter_minute_in_four_hours(
    apart: str, span: str, *, tested: bool
) -> None:
    """46 CFR 197.458(c)."""
    assert compare_clocks(Decimal(apart), Decimal(span), *CLOCK).needs_test is tested


def test_a_typed_difference_is_exact() -> None:
    """2.16 - 2.00 is 0.16 and not a little more: a limit of 0.16 is not exceeded."""
    verdict = compare_gauges(Decimal("2.16"), Decimal("2.00"), Decimal(8), PERCENT, "bar")
    assert not verdict.needs_test


@given(st.decimals(0, 300, places=2), st.decimals(0, 300, places=2))
def test_the_order_of_the_two_gauges_does_not_matter(first: Decimal, second: Decimal) -> None:
    args = (Decimal(300), PERCENT, "fsw")
    assert compare_gauges(first, second, *args) == compare_gauges(second, first, *args)


def test_a_scale_or_span_of_nothing_is_refused() -> None:
    with pytest.raises(PairError, match="Full scale 0"):
        compare_gauges(Decimal(1), Decimal(1), Decimal(0), PERCENT, "fsw")
    with pytest.raises(PairError, match="Span 0"):
        compare_clocks(Decimal(1), Decimal(0), *CLOCK)
