"""Instants and civil dates, against datetime and zoneinfo."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from facility.compute.instants import (
    FOREVER,
    FactsError,
    datetime_of,
    end_of_local_day,
    format_instant,
    instant_of,
    parse_instant,
)
from tests.make_facts import evaluated, gauge, one_need

ZONES = ("Europe/Oslo", "America/New_York", "Africa/Cairo", "America/Havana", "Pacific/Apia", "Atlantic/Azores")


@given(st.datetimes())
def test_instants_agree_with_datetime(moment: datetime) -> None:
    text = f"{moment.replace(second=0, microsecond=0).isoformat(timespec='minutes')}Z"
    instant = parse_instant(text)
    assert datetime_of(instant) == datetime.fromisoformat(text.replace("Z", "+00:00"))
    assert format_instant(instant) == text
    assert instant_of(datetime_of(instant)) == instant


@pytest.mark.parametrize(
    "text",
    [
        "2026-11-27T10:00",
        "2026-11-27T10:00:00Z",
        "2026-11-27 10:00Z",
        "2026-11-27T10:00+00:00",
        "2026-02-29T10:00Z",
        "2026-11-27T24:00Z",
        "2026-11-27T10:60Z",
        "2026-11-27T10:00Z\n",
        "\N{FULLWIDTH DIGIT TWO}026-11-27T10:00Z",
        "",
    ],
)
def test_what_is_no_utc_instant_is_refused(text: str) -> None:
    with pytest.raises(FactsError, match="is not an instant"):
        parse_instant(text)


def test_a_datetime_without_offset_is_refused() -> None:
    with pytest.raises(FactsError, match="no offset"):
        instant_of(datetime.fromisoformat("2026-01-01"))


def test_past_the_last_year_the_last_minute_is_written() -> None:
    assert format_instant(FOREVER) == "9999-12-31T23:59Z"


@given(st.dates(date(1990, 1, 1), date(2037, 1, 1)), st.integers(0, 40), st.sampled_from(ZONES))
def test_a_due_day_ends_with_the_last_minute_of_its_date_in_the_zone(day: date, window: int, zone: str) -> None:
    end = datetime_of(end_of_local_day(day, window, zone))
    last = day + timedelta(days=window)
    assert (end - timedelta(minutes=1)).astimezone(ZoneInfo(zone)).date() <= last
    assert end.astimezone(ZoneInfo(zone)).date() > last


@pytest.mark.parametrize(
    ("day", "zone", "end"),
    [
        # Clocks go forward on these days, so the day has 23 hours.
        ("2026-03-29", "Europe/Oslo", "2026-03-29T22:00Z"),
        ("2026-03-08", "America/New_York", "2026-03-09T04:00Z"),
        # Clocks go back, 25 hours.
        ("2026-10-25", "Europe/Oslo", "2026-10-25T23:00Z"),
        ("2026-11-01", "America/New_York", "2026-11-02T05:00Z"),
        # Plain days.
        ("2026-07-01", "Europe/Oslo", "2026-07-01T22:00Z"),
        ("2026-12-31", "America/New_York", "2027-01-01T05:00Z"),
        # Clocks change at midnight: no 00:00 on 24 April 2026 in Cairo; it starts at 01:00.
        ("2026-04-23", "Africa/Cairo", "2026-04-23T22:00Z"),
        # Clocks went from 23:30 to 00:30 on 30 March 1919 in Toronto: the next day starts at 00:30.
        ("1919-03-30", "America/Toronto", "1919-03-31T04:30Z"),
        # A day that Apia never had: 30 December 2011 was skipped.
        ("2011-12-29", "Pacific/Apia", "2011-12-30T10:00Z"),
    ],
)
def test_days_on_which_clocks_change(day: str, zone: str, end: str) -> None:
    year, month, number = map(int, day.split("-"))
    following = datetime(year, month, number, 12, tzinfo=UTC) + timedelta(days=1)
    assert format_instant(end_of_local_day(date.fromisoformat(day), 0, zone)) == end
    local = datetime.fromisoformat(end.replace("Z", "+00:00")).astimezone(ZoneInfo(zone))
    assert local.date() >= following.date()


@pytest.mark.parametrize(
    ("zone", "at", "state"),
    [
        ("Europe/Oslo", "2026-03-29T20:59Z", "Ready"),
        ("Europe/Oslo", "2026-03-29T21:00Z", "Not ready"),
        ("America/New_York", "2026-11-02T03:59Z", "Ready"),
        ("America/New_York", "2026-11-02T04:00Z", "Not ready"),
    ],
)
def test_a_due_date_covers_a_run_that_ends_within_the_local_day(zone: str, at: str, state: str) -> None:
    day = "2026-03-29" if zone == "Europe/Oslo" else "2026-11-01"
    facts = one_need(gauge(None)) | {"zone": zone}
    facts["members"]["M0"]["due"][0]["until"] = {"date": day, "window_days": 0}
    assert evaluated(facts, at)["state"] == state


def test_the_window_keeps_the_item_good_for_whole_days_more() -> None:
    facts = one_need(gauge(None))
    facts["members"]["M0"]["due"][0]["until"] = {"date": "2026-11-20", "window_days": 7}
    found = evaluated(facts)
    assert found["findings"]["N"]["lapses_at"] == "2026-11-28T00:00Z"
    assert found["holds_until"] == "2026-11-27T23:00Z"
