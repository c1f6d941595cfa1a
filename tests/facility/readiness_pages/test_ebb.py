"""The picture of time against the scale it claims, hand sums, numpy's interpolation and the zone database."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from facility.compute.instants import instant_of
from facility.readiness.axis import axis_of, percent, position
from facility.readiness.ebb import ebb_of
from facility.readiness.labels import GAP_PX, Label, of_need, of_run_bar
from tests.facility.readiness_pages import sample

AT = instant_of(sample.NOW)
DAY = 1440


def number(text: str) -> float:
    """Return what a printed percentage is worth."""
    assert text.endswith("%")
    return float(text[:-1])


@pytest.mark.parametrize(
    ("minutes", "where"),
    [
        # by hand from the scale: 24 h on 66 %, six days on the next 18 %, ten weeks on the last 16 %
        (-5, 0.0),
        (0, 0.0),
        (720, 33.0),
        (DAY, 66.0),
        (4 * DAY, 75.0),
        (7 * DAY, 84.0),
        (42 * DAY, 92.0),
        (77 * DAY, 100.0),
        (400 * DAY, 100.0),
    ],
)
def test_an_instant_stands_where_the_scale_puts_it(minutes: int, where: float) -> None:
    assert position(minutes) == pytest.approx(where)


@given(st.floats(min_value=-1000, max_value=200_000))
def test_the_scale_is_the_broken_line_that_numpy_interpolates(minutes: float) -> None:
    # oracle: numpy.interp over the three stretches
    expected = np.interp(minutes, [0, DAY, 7 * DAY, 77 * DAY], [0, 66, 84, 100])
    assert position(minutes) == pytest.approx(float(expected))


def test_a_printed_place_has_a_point_and_no_needless_noughts() -> None:
    assert [percent(x) for x in (0, 66.0, 47.756, 100)] == ["0%", "66%", "47.76%", "100%"]


@given(
    st.integers(min_value=0, max_value=3 * 365 * DAY),
    st.sampled_from(["Europe/Oslo", "Asia/Kathmandu", "Australia/Lord_Howe"]),
)
def test_the_graduation_covers_the_width_without_gap_or_overlap(later: int, zone: str) -> None:
    axis = axis_of(AT + later, zone)
    end = 0.0
    for cell in axis.cells:
        assert number(cell.x) == pytest.approx(end, abs=0.02)
        assert number(cell.width) >= 0  # a step of a minute is printed as nothing
        end = number(cell.x) + number(cell.width)
    assert end == pytest.approx(100, abs=0.02)
    assert [cell.filled for cell in axis.cells] == [n % 2 == 0 for n in range(len(axis.cells))]


@pytest.mark.parametrize(
    "at",
    [
        datetime(2026, 11, 26, 13, 20, tzinfo=UTC),
        datetime(2026, 10, 24, 13, 7, tzinfo=UTC),  # clocks go back in the night: a day of 25 hours
        datetime(2026, 3, 28, 13, 7, tzinfo=UTC),  # clocks go forward: a day of 23 hours
        datetime(2026, 3, 28, 23, 0, tzinfo=UTC),  # midnight itself
    ],
)
def test_midnight_stands_where_the_clock_of_the_site_shows_it(at: datetime) -> None:
    # oracle: zoneinfo, minute by minute
    oslo = ZoneInfo("Europe/Oslo")
    found = [m for m in range(1, DAY + 1) if (at + timedelta(minutes=m)).astimezone(oslo).strftime("%H:%M") == "00:00"]
    assert axis_of(instant_of(at), "Europe/Oslo").midnights == tuple(percent(66 * m / DAY) for m in found)


def test_the_words_above_the_graduation_name_hours_days_and_months() -> None:
    words = [tick.text for tick in axis_of(AT, sample.ZONE).ticks]
    # 26 Nov 2026 is a Thursday (a calendar): the whole days of the second part are Sat to Wed
    assert words == ["now", "18:00", "Fri 27", "06:00", "12:00", "S", "S", "M", "T", "W", "Dec", "Jan", "Feb"]


def test_a_run_now_and_the_last_run_stand_on_the_hours_that_the_sums_give() -> None:
    ebb = ebb_of(sample.LIMITED, sample.NAMES, AT, sample.ZONE)
    # by hand: 7 h of 24 h on 66 % = 19.25 %; start before 18:00 = 220 min ahead = 10.08 %; end 01:00 = 640 min = 29.33 %
    assert ebb.now_bar is not None
    assert ebb.now_bar.width == "19.25%"
    assert ebb.may == "10.08%"
    assert ebb.last_bar is not None
    assert (ebb.last_bar.x, percent(ebb.last_bar.end)) == ("10.08%", "29.33%")
    assert ebb.last_label is not None
    assert ebb.last_label.text == "18:00 to 01:00"
    assert ebb.closed is None
    assert ebb.later_bar is None


def test_the_last_run_ends_exactly_where_the_limiting_need_ends() -> None:
    ebb = ebb_of(sample.LIMITED, sample.NAMES, AT, sample.ZONE)
    first = ebb.needs[0]
    assert ebb.last_bar is not None
    assert (first.key, first.first, first.x) == ("crew", True, percent(ebb.last_bar.end))


def test_two_more_needs_follow_the_limiting_one_in_the_order_of_their_ends() -> None:
    keys = [need.key for need in ebb_of(sample.LIMITED, sample.NAMES, AT, sample.ZONE).needs]
    assert keys == ["crew", "oxygen", "check"]  # 01:00, then 07:31, then 07:42


def test_closed_time_lasts_until_the_instant_at_which_it_ends_by_itself() -> None:
    ebb = ebb_of(sample.REFUSED, sample.NAMES, AT, sample.ZONE)
    # by hand: 17:10 is 170 min ahead: 66 * 170 / 1440 = 7.79 %
    assert ebb.closed is not None
    assert ebb.closed.width == "7.79%"
    assert ebb.later_bar is not None
    assert ebb.later_bar.x == "7.79%"
    assert ebb.now_bar is None
    assert ebb.may is None
    assert [(need.until, need.x) for need in ebb.needs[:2]] == [("missing", "0%"), ("missing", "0%")]


def test_closed_time_without_an_end_fills_the_width_and_promises_nothing() -> None:
    ebb = ebb_of(sample.REFUSED | {"ready_from": None}, sample.NAMES, AT, sample.ZONE)
    assert ebb.closed is not None
    assert ebb.closed.width == "100%"
    assert ebb.later_bar is None
    assert ebb.later_label is not None
    assert ebb.later_label.text == "end not known"


def test_what_is_not_known_never_shows_a_full_bar() -> None:
    ebb = ebb_of(sample.UNKNOWN, sample.NAMES, AT, sample.ZONE)
    assert ebb.now_bar is None
    assert ebb.may is None
    assert ebb.last_bar is None
    assert ebb.later_bar is not None
    assert ebb.needs[0].until == "not known"


def test_a_state_that_nobody_knows_is_drawn_as_not_known() -> None:
    assert ebb_of(sample.READY | {"state": "Splendid"}, sample.NAMES, AT, sample.ZONE).now_bar is None


def test_an_answer_without_end_on_record_says_so_and_runs_to_the_edge() -> None:
    ebb = ebb_of(sample.READY | {"holds_until": None, "limiting": []}, sample.NAMES, AT, sample.ZONE)
    assert ebb.may == "100%"
    assert ebb.last_bar is None
    assert ebb.last_label is not None
    assert ebb.last_label.text == "no end on record"


def test_a_name_that_is_too_long_gets_a_line_of_its_own_in_full() -> None:
    ebb = ebb_of(sample.READY, sample.NAMES, AT, sample.ZONE)
    vessel = next(need for need in ebb.needs if need.key == "vessel")
    assert vessel.label.long
    assert vessel.name == sample.NAMES["vessel"]


def _span(label: Label, field_px: float) -> tuple[float, float]:
    """Return from where to where a label reaches in px, letters 6.5 px wide: IBM Plex Sans at 13 px, measured by eye."""
    width = 6.5 * len(label.text)
    at = number(label.x) / 100 * field_px + label.dx
    return (at - width, at) if label.anchor == "end" else (at, at + width)


@given(st.floats(min_value=0, max_value=100), st.text("abc ", min_size=1, max_size=90))
def test_the_words_of_a_need_stay_inside_the_field_of_a_tablet(end: float, name: str) -> None:
    label = of_need(end, "07:42", name)
    if not label.long:  # a long one is set above its line by the page, where it wraps
        start, stop = _span(label, 570)
        assert start >= 0
        assert stop <= 570


@given(
    st.floats(min_value=0, max_value=100),
    st.floats(min_value=0, max_value=40),
    st.sampled_from(["18:00 to 01:00", "3 Dec 2026, 18:00 to 01:00"]),
)
def test_the_words_of_a_run_stay_inside_the_field_of_a_phone(start: float, length: float, text: str) -> None:
    label = of_run_bar(start, min(100, start + length), text)
    left, right = _span(label, 328)
    assert left >= 0
    assert right <= 328 + GAP_PX
