"""When an entry of a log happened: typed as a time of day, as an instant with its offset, or so many seconds ago."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from facility.compute.typed import TypedError, instant
from treatments.compute.log_values import LogRefusedError

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

#: a clock may go wrong by this much before a time counts as lying in the future; common practice, no source
AHEAD = timedelta(minutes=5)
#: common practice, no source: an entry that waited longer on a device gets its time typed
LONGEST_AGO = timedelta(days=30)
DAY_HOURS, MINUTE_S = 24, 60
_OF_DAY = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?")
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{1,2}:\d{2}.*")


def _(text: str) -> str:
    return text


def ago(seconds: float, now: datetime) -> datetime:
    """Return the instant so many seconds before ``now``; what lies further back than a month is cut to it."""
    return now - timedelta(seconds=min(max(seconds, 0), LONGEST_AGO.total_seconds()))


def typed_time(text: str, zone: ZoneInfo, near: datetime) -> datetime:
    """Return the instant that was typed, in UTC.

    ``15:08`` or ``15:08:36``: the last such time of the site's clock up to ``near`` (and a few minutes after it, for a
    clock that is slow); ``27 Nov 2026 15:08`` or an instant with its offset: that one.
    Errors: LogRefusedError for what has two readings or none, or lies after ``near``.

    >>> from zoneinfo import ZoneInfo
    >>> typed_time("15:08:36", ZoneInfo("Europe/Oslo"), datetime(2026, 11, 26, 15, 0, tzinfo=UTC)).isoformat()
    '2026-11-26T14:08:36+00:00'
    """
    trimmed = text.strip()
    if not trimmed:
        raise LogRefusedError(_("The time is missing. Type it as 15:08 or 15:08:36."))
    if found := _OF_DAY.fullmatch(trimmed):
        at = _of_day(trimmed, [int(part or 0) for part in found.groups()], zone, near)
    elif _ISO.fullmatch(trimmed):
        at = _iso(trimmed)
    else:
        at = _in_words(trimmed, zone)
    if at - near > AHEAD:
        raise LogRefusedError(_("Time “%(value)s” lies after now. Type when it happened."), value=trimmed)
    return at


def _of_day(text: str, parts: list[int], zone: ZoneInfo, near: datetime) -> datetime:
    """Return the last instant at which the site's clock showed this time; one shown twice in that hour is refused."""
    hour, minute, second = parts
    if hour >= DAY_HOURS or minute >= MINUTE_S or second >= MINUTE_S:
        raise LogRefusedError(_("“%(value)s” is no time of day. Type it as 15:08 or 15:08:36."), value=text)
    latest = (near + AHEAD).astimezone(zone)
    for back in range(3):
        day = latest.date() - timedelta(days=back)
        local = datetime(day.year, day.month, day.day, hour, minute, second, tzinfo=zone)
        both = sorted({one.astimezone(UTC) for one in (local, local.replace(fold=1)) if _exists(one)})
        shown = [one for one in both if one <= near + AHEAD]
        if len(shown) > 1:
            raise LogRefusedError(
                _("“%(value)s”: the clocks showed this time twice that day. Type it with date and offset, such as 2026-10-25T02:10+01:00."),
                value=text,
            )  # fmt: skip
        if shown:
            return shown[0]
    raise LogRefusedError(_("“%(value)s”: the clocks skipped this time. Type it with date and offset."), value=text)


def _exists(local: datetime) -> bool:
    return local.astimezone(UTC).astimezone(local.tzinfo).replace(tzinfo=None) == local.replace(tzinfo=None)


def _iso(text: str) -> datetime:
    try:
        at = datetime.fromisoformat(text)
        in_utc = at.astimezone(UTC)
    except (ValueError, OverflowError):  # the first and the last day of the calendar may have no place in UTC
        raise LogRefusedError(
            _("“%(value)s” is no instant. Type it as 15:08, or with date and offset: 2026-11-27T15:08+01:00."),
            value=text,
        ) from None
    if at.utcoffset() is None:
        raise LogRefusedError(
            _("“%(value)s” does not say in which time zone. Add the offset, such as +01:00, or type 15:08."), value=text
        )
    return in_utc


def _in_words(text: str, zone: ZoneInfo) -> datetime:
    try:
        return instant(text, zone)
    except TypedError:
        raise LogRefusedError(
            _("“%(value)s” is no time. Type it as 15:08, 15:08:36 or 27 Nov 2026 15:08."), value=text
        ) from None
