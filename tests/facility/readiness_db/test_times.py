"""Stored times and civil days as whole minutes."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from facility.compute.instants import datetime_of, end_of_local_day
from facility.gathered import minute_down, minute_up, start_of_day


@given(st.datetimes(datetime(1971, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC)))  # noqa: DTZ001  # made aware
def test_stored_times_round_down_and_up_to_whole_minutes(moment: datetime) -> None:
    for text in (moment.isoformat(), str(moment.replace(tzinfo=None))):
        assert datetime_of(minute_down(text)) <= moment < datetime_of(minute_down(text) + 1)
        assert datetime_of(minute_up(text) - 1) < moment <= datetime_of(minute_up(text))


@given(
    st.dates(date(2000, 1, 1), date(2035, 12, 30)),
    st.sampled_from(["Europe/Oslo", "America/St_Johns", "Australia/Lord_Howe", "America/Santiago", "Africa/Cairo"]),
)
def test_a_day_begins_and_ends_by_the_zone_database(day: date, zone: str) -> None:
    """Oracle: zoneinfo. The first minute is on the day, the one before it is not; also where clocks change."""
    place = ZoneInfo(zone)
    for begins, first in ((start_of_day(day, zone), day), (end_of_local_day(day, 0, zone), day + timedelta(days=1))):
        assert datetime_of(begins).astimezone(place).date() >= first
        assert datetime_of(begins - 1).astimezone(place).date() < first
