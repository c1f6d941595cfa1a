"""Terms and past of a rule to its sides: worked cases of the codes, RFC 5545 where it agrees, and laws."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

import pytest
from dateutil.rrule import MONTHLY, rrule
from hypothesis import given
from hypothesis import strategies as st

from maintenance.compute.counters import Reading
from maintenance.compute.deferral import Inspection
from maintenance.compute.due import Anchor, Cause, Happening
from maintenance.compute.due_windows import Window, WindowKind
from maintenance.compute.intervals import Span
from maintenance.compute.rule_due import Act, Past, Terms, reckon

SPAN_DAYS = 365
DAYS = st.dates(date(2000, 1, 1), date(2060, 1, 1))


def due_day(terms: Terms, *acts: Act) -> date | None:
    first = reckon(terms, Past(acts), SPAN_DAYS).due.first
    return None if first is None else first.due_on


def test_a_75_hour_act_done_in_its_window_keeps_its_count() -> None:
    """TM 1-1500-328-23: due 1609.4 h, done within 5 h of it, next 1684.4 h; outside it, from the act."""
    terms = Terms(count_every=Decimal(75), anchor=Anchor.FIXED, allowed=Decimal(5))
    total = (Reading(date(2026, 1, 1), Decimal("1534.4")), Reading(date(2026, 3, 1), Decimal(1620)))
    for done_at, due_at in (("1612.0", "1684.4"), ("1614.4", "1684.4"), ("1614.5", "1689.5")):
        acts = (Act(date(2026, 1, 1), count=Decimal("1534.4")), Act(date(2026, 3, 1), count=Decimal(done_at)))
        (side,) = reckon(terms, Past(acts, total=total), SPAN_DAYS).due.sides
        assert side.limit == Decimal(due_at)


def test_an_anchored_act_agrees_with_rfc_5545_on_days_that_every_month_has() -> None:
    terms = Terms(Span(1), anchor=Anchor.FIXED)
    expected = [one.date() for one in rrule(MONTHLY, count=25, dtstart=date(2024, 1, 15))]
    acts = [Act(day) for day in expected]
    for count, day in enumerate(expected[1:], 1):
        assert due_day(terms, *acts[:count]) == day


def test_an_anchored_act_of_the_31st_keeps_its_day_where_rfc_5545_skips_months() -> None:
    """RFC 5545 3.3.10 skips what does not exist (31 Jan, 31 Mar, 31 May); upkeep takes the last valid day."""
    skipped = [one.date() for one in rrule(MONTHLY, count=3, dtstart=date(2024, 1, 31))]
    assert skipped == [date(2024, 1, 31), date(2024, 3, 31), date(2024, 5, 31)]
    terms, done = Terms(Span(1), anchor=Anchor.FIXED), [Act(date(2024, 1, 31))]
    for day in (date(2024, 2, 29), date(2024, 3, 31), date(2024, 4, 30), date(2024, 5, 31)):
        assert due_day(terms, *done) == day
        done.append(Act(day))


def test_a_survey_three_months_off_keeps_its_anniversary() -> None:
    """IMO diving systems 1.6: anniversary 15 May 2027, open 15 February to 15 August 2027."""
    window = Window(WindowKind.SYMMETRIC, Span(3), Span(3))
    terms = Terms(Span(12), anchor=Anchor.FIXED, window=window)
    (side,) = reckon(terms, Past((Act(date(2025, 5, 15)), Act(date(2026, 8, 1)))), SPAN_DAYS).due.sides
    assert side.due_on == date(2027, 5, 15)
    assert side.opening is not None
    assert (side.opening.opens, side.opening.closes) == (date(2027, 2, 15), date(2027, 8, 15))


def test_a_window_of_ten_years_or_ten_thousand_cycles_ends_by_whichever_comes_first() -> None:
    """By hand: 7300 cycles from 1 March 2019 to 1 March 2026: 1 October 2028, before 1 March 2029."""
    total = (Reading(date(2019, 3, 1), Decimal(0)), Reading(date(2026, 3, 1), Decimal(7300)))
    past = Past(total=total, begun_on=date(2019, 3, 1))
    found = reckon(Terms(count_life=Decimal(10000), life=Span(120)), past, SPAN_DAYS)
    assert {side.cause: side.due_on for side in found.due.sides} == {
        Cause.LIFE_AGE: date(2029, 3, 1), Cause.LIFE_COUNT: date(2028, 10, 1),
    }  # fmt: skip
    assert found.due.first is not None
    assert found.due.first.cause is Cause.LIFE_COUNT


def test_a_vessel_test_chains_to_its_hard_stop_and_damage_ends_that() -> None:
    """UFC 3-430-07: April 2015, due April 2021, deferrable to April 2024, hard stop April 2027."""
    terms = Terms(Span(72), step=Span(36), hard_stop=Span(144))
    done = (Act(date(2015, 4, 30), month_only=True),)
    clean = [Inspection(date(year, 4, 30), clean=True) for year in (2018, 2021, 2024, 2027)]
    for looks, day in ((clean[:1], 2021), (clean[:2], 2024), (clean, 2027)):
        found = reckon(terms, Past(done, looks=tuple(looks)), SPAN_DAYS)
        assert found.due.first is not None
        assert found.due.first.due_on == date(day, 4, 30)
    damaged = (*clean[:2], Inspection(date(2024, 4, 30), clean=False))
    found = reckon(terms, Past(done, looks=damaged), SPAN_DAYS)
    assert found.put_off is not None
    assert (found.put_off.due_on, found.put_off.may_defer_again) == (date(2024, 4, 30), False)


def test_a_replacement_begins_a_life_anew() -> None:
    past = Past((Act(date(2025, 6, 1), count=Decimal(800), renewed=True),), total=(Reading(date(2026, 1, 1), Decimal(900)),),
                begun_on=date(2015, 1, 1))  # fmt: skip
    found = reckon(Terms(life=Span(60), count_life=Decimal(500)), past, SPAN_DAYS)
    assert [side.due_on for side in found.due.sides if side.cause is Cause.LIFE_AGE] == [date(2030, 6, 1)]
    assert [one.count for one in found.counts] == [Decimal(100)]


@given(done=DAYS, months=st.integers(1, 120), days=st.integers(0, 400), month_only=st.booleans())
def test_nothing_falls_due_before_it_was_done(done: date, months: int, days: int, *, month_only: bool) -> None:
    day = due_day(Terms(Span(months, days)), Act(done, month_only=month_only))
    assert day is not None
    assert day > done


@given(done=st.lists(DAYS, min_size=1, max_size=5, unique=True), months=st.integers(2, 24), window=st.integers(0, 1))
def test_an_anchored_act_never_falls_due_before_its_last_doing(done: list[date], months: int, window: int) -> None:
    kind = WindowKind.SYMMETRIC if window else WindowKind.NONE
    terms = Terms(Span(months), Anchor.FIXED, Window(kind, Span(window), Span(window)))
    day = due_day(terms, *(Act(one) for one in sorted(done)))
    assert day is not None
    assert day > max(done)


@given(done=DAYS, months=st.integers(6, 36), low=st.integers(0, 2), more=st.integers(0, 2))
def test_a_wider_window_holds_every_day_of_a_narrower_one(done: date, months: int, low: int, more: int) -> None:
    openings = []
    for size in (low, low + more):
        window = Window(WindowKind.ASYMMETRIC, Span(size), Span(days=7 * size))
        (side,) = reckon(Terms(Span(months), window=window), Past((Act(done),)), SPAN_DAYS).due.sides
        assert side.opening is not None
        openings.append(side.opening)
    narrow, wide = openings
    assert wide.opens <= narrow.opens <= narrow.closes <= wide.closes


@given(happened=st.lists(DAYS, max_size=5), done=DAYS)
def test_an_event_only_counts_after_the_last_act(happened: list[date], done: date) -> None:
    past = Past((Act(done),), tuple(Happening("moved", day) for day in happened))
    sides = reckon(Terms(triggers=frozenset({"moved"})), past, SPAN_DAYS).due.sides
    later = [day for day in happened if day > done]
    assert [side.due_on for side in sides] == ([min(later)] if later else [])


@given(steps=st.lists(st.integers(1, 40), min_size=2, max_size=8), limit=st.integers(1, 400))
def test_a_count_reached_has_a_day_on_record_and_one_not_reached_a_later_one(steps: list[int], limit: int) -> None:
    total = [Reading(date(2026, 1, 1), Decimal(0))]
    total += [
        Reading(date(2026, 1, 1) + timedelta(days=30 * n), Decimal(sum(steps[:n]))) for n in range(1, len(steps) + 1)
    ]
    assert all(one.value < two.value for one, two in pairwise(total))
    (side,) = reckon(Terms(count_life=Decimal(limit)), Past(total=tuple(total)), SPAN_DAYS).due.sides
    assert side.due_on is not None
    assert side.reached is (total[-1].value >= limit)
    assert side.reached or side.due_on >= total[-1].on


@pytest.mark.parametrize("count", [None, Decimal(10)])
def test_a_counter_without_a_reading_cannot_be_told(count: Decimal | None) -> None:
    found = reckon(Terms(count_every=Decimal(50)), Past((Act(date(2026, 1, 1), count=count),)), SPAN_DAYS)
    assert found.untold
    assert found.due.sides == ()
