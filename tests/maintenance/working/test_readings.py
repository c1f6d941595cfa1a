"""Readings against limits, and the result that they propose."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.compute.readings import LimitError, Outcome, Word, is_better, judge, proposed

NUMBERS = st.decimals(-10_000, 10_000, places=3)
OUTCOMES = st.sampled_from(list(Outcome))


@given(NUMBERS)
def test_a_value_at_its_limit_is_within(limit: Decimal) -> None:
    """Readings of open texts: "at least" and "at most" include the limit."""
    assert judge(limit, limit, None) is Outcome.WITHIN
    assert judge(limit, None, limit) is Outcome.WITHIN
    assert judge(limit, limit, limit) is Outcome.WITHIN


@given(NUMBERS, st.decimals("0.001", 100, places=3))
def test_a_value_past_its_limit_by_the_last_figure_is_outside(limit: Decimal, more: Decimal) -> None:
    assert judge(limit - more, limit, None) is Outcome.OUTSIDE
    assert judge(limit + more, None, limit) is Outcome.OUTSIDE


@given(NUMBERS, NUMBERS, st.decimals(0, 100, places=3))
def test_wider_limits_never_turn_a_good_reading_bad(value: Decimal, low: Decimal, more: Decimal) -> None:
    high = low + 50
    if judge(value, low, high) is Outcome.WITHIN:
        assert judge(value, low - more, high + more) is Outcome.WITHIN


@given(NUMBERS)
def test_a_reading_without_limits_says_nothing_of_itself(value: Decimal) -> None:
    assert judge(value, None, None) is Outcome.UNLIMITED
    assert judge(None, value, None) is Outcome.UNREAD


def test_what_was_typed_is_compared_in_decimals() -> None:
    """2.16 - 2.00 is 0.16 and not a little more: arithmetic of binary fractions would say otherwise."""
    assert Decimal(str(2.16 - 2.00)) != Decimal("0.16")
    assert judge(Decimal("2.16") - Decimal("2.00"), None, Decimal("0.16")) is Outcome.WITHIN


def test_limits_that_leave_nothing_between_are_refused_with_both() -> None:
    with pytest.raises(LimitError, match="At least 9 and at most 7"):
        judge(Decimal(8), Decimal(9), Decimal(7))


@given(st.lists(OUTCOMES, min_size=1))
def test_the_worst_reading_decides_and_one_more_never_makes_it_better(outcomes: list[Outcome]) -> None:
    before = proposed(outcomes)
    for one in Outcome:
        after = proposed([*outcomes, one])
        if before is not None:
            assert after is not None
            assert not is_better(after, before)


def test_readings_without_any_limit_propose_nothing() -> None:
    """Silence is never a pass."""
    assert proposed([]) is None
    assert proposed([Outcome.UNLIMITED]) is None
    assert proposed([Outcome.UNLIMITED, Outcome.WITHIN]) is Word.PASSED
    assert proposed([Outcome.WITHIN, Outcome.UNREAD]) is Word.UNREAD
    assert proposed([Outcome.UNREAD, Outcome.OUTSIDE]) is Word.FAILED
