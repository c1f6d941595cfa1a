"""What a person types: days, instants and numbers with one reading only."""

from __future__ import annotations

import time
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from facility.compute import typed
from facility.compute.typed import Refusal, TypedError

OSLO = ZoneInfo("Europe/Oslo")
DAYS = st.dates(date(1900, 1, 1), date(2199, 12, 31))


@given(DAYS)
def test_a_day_in_letters_is_what_the_standard_library_reads_in_it(day: date) -> None:
    text = f"{day.day} {day:%b} {day.year}"
    oracle = datetime.strptime(text, "%d %b %Y").replace(tzinfo=UTC).date()  # the standard library as oracle
    assert typed.day(text) == oracle == typed.day(day.isoformat())


@given(st.decimals(-99_999, 99_999, places=2))
def test_a_number_reads_the_same_with_comma_and_point(number: Decimal) -> None:
    text = f"{number:f}"
    assert typed.number(text) == typed.number(text.replace(".", ",")) == Decimal(text)


@pytest.mark.parametrize(
    ("text", "refusal"),
    [
        ("27/11/2026", Refusal.TWO_ORDERS),
        ("03.04.2026", Refusal.TWO_ORDERS),
        ("3-4-26", Refusal.TWO_ORDERS),
        ("31 Feb 2026", Refusal.NO_SUCH_DAY),
        ("2026-13-01", Refusal.NO_SUCH_DAY),
        ("tomorrow", Refusal.NOT_A_DAY),
        ("27 Ju 2026", Refusal.NOT_A_DAY),  # June or July
        ("27 Foo 2026", Refusal.NOT_A_DAY),
        ("27 Nov 0026", Refusal.FAR_OFF),
    ],
)
def test_a_day_with_two_readings_or_none_is_refused_by_name(text: str, refusal: Refusal) -> None:
    with pytest.raises(TypedError) as caught:
        typed.day(text)
    assert caught.value.refusal is refusal


@pytest.mark.parametrize("text", ["1 234", "1,234", "1.234,5", "1,234.5", "1'234", "1\u202f234", "12,345,678"])
def test_a_thousand_separator_is_refused(text: str) -> None:
    with pytest.raises(TypedError) as caught:
        typed.number(text)
    assert caught.value.refusal is Refusal.GROUPED


@pytest.mark.parametrize("text", ["", "1e3", "NaN", "inf", "12 bar", "--1", "1..2"])
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(TypedError) as caught:
        typed.number(text)
    assert caught.value.refusal is Refusal.NOT_A_NUMBER


def test_a_local_time_becomes_the_instant_in_the_sites_zone() -> None:
    # Central European Time is UTC+1 in winter, UTC+2 in summer: Directive 2000/84/EC, from memory
    assert typed.instant("27 Nov 2026 18:00", OSLO) == datetime(2026, 11, 27, 17, tzinfo=UTC)
    assert typed.instant("2026-07-01T18:00", OSLO) == datetime(2026, 7, 1, 16, tzinfo=UTC)


def test_a_time_that_the_clock_change_skips_or_repeats_is_refused() -> None:
    # Directive 2000/84/EC: the change is at 01:00 UTC on the last Sunday of March and October, from memory
    with pytest.raises(TypedError) as skipped:
        typed.instant("29 Mar 2026 02:30", OSLO)
    assert skipped.value.refusal is Refusal.SKIPPED
    with pytest.raises(TypedError) as twice:
        typed.instant("25 Oct 2026 02:30", OSLO)
    assert twice.value.refusal is Refusal.TWICE
    first = typed.instant("25 Oct 2026 02:30 +02:00", OSLO)
    assert typed.instant("25 Oct 2026 02:30+01:00", OSLO) - first == timedelta(hours=1)


@pytest.mark.parametrize(
    "text", ["27 Nov 2026", "27 Nov 2026 24:00", "27 Nov 2026 18:61", "18:00", "27 Nov 2026 18:00 +15:00"]
)
def test_what_is_no_instant_is_refused(text: str) -> None:
    with pytest.raises(TypedError) as caught:
        typed.instant(text, OSLO)
    assert caught.value.refusal in {Refusal.NOT_AN_INSTANT, Refusal.NOT_A_DAY}


@pytest.mark.parametrize("filling", [" ", "T", ".111", "1", "\u202f111"])
def test_a_text_far_too_long_is_refused_at_once_and_told_shortened(filling: str) -> None:
    """Looking for an hour in so many spaces would take a thread of the box for hours."""
    text = "1" + filling * 200_000 + "x"
    begun = time.process_time()
    for read in (typed.day, typed.number, lambda one: typed.instant(one, ZoneInfo("Europe/Oslo"))):
        with pytest.raises(TypedError) as refused:
            read(text)
        assert len(refused.value.text) < 200
    assert time.process_time() - begun < 1
