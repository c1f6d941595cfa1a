"""Waits after a run as instants: elapsed hours from reaching the surface, shown in the zone of the site."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

if TYPE_CHECKING:
    from collections.abc import Sequence

#: common practice, no source: other years are a slip of the keyboard
FIRST_YEAR, LAST_YEAR = 1970, 2199


class WaitError(ValueError):
    """An instant or a zone that cannot be used: what, which value, what is allowed."""


@dataclass(frozen=True, slots=True)
class WaitRule:
    """One wait of one revision: for whom, before or for what, the tables it is stated for."""

    revision: str
    person: str
    purpose: str
    hours: float
    tables: frozenset[str]
    about: str


@dataclass(frozen=True, slots=True)
class Wait:
    """A wait of one revision; hours and instants None where the revision does not state it for the table."""

    revision: str
    person: str
    purpose: str
    hours: float | None
    until: datetime | None
    until_local: datetime | None
    about: str


def instant(text: str) -> datetime:
    """Return an instant from ISO text with an offset or Z.

    Errors: WaitError without an offset: a bare local time may happen twice or never when clocks change.

    >>> instant("2026-03-28T20:00+01:00").isoformat()
    '2026-03-28T19:00:00+00:00'
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.utcoffset() is None or not FIRST_YEAR <= moment.year <= LAST_YEAR:
        allowed = f"YYYY-MM-DDTHH:MM with Z or an offset such as +01:00, {FIRST_YEAR} to {LAST_YEAR}"
        raise WaitError(f"instant: {text!r} is not taken. Allowed: {allowed}.")
    return moment.astimezone(UTC)


def zone(name: str) -> ZoneInfo:
    """Return a zone by its name. Errors: WaitError for an unknown one."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise WaitError(f"zone: {name!r} is not taken. Allowed: a name such as Europe/Oslo or UTC.") from None


def waits(table: str, surfaced: datetime, place: ZoneInfo, rules: Sequence[WaitRule]) -> tuple[Wait, ...]:
    """Return each wait that a revision knows, in the order of the rules.

    ``surfaced``: an aware instant. Source: treatments/reference/waits.toml.
    Valid: elapsed hours, also across a change of clocks. Errors: WaitError without an offset.

    >>> rule = WaitRule("rev4a", "tender", "next run", 12, frozenset({"TT6"}), "")
    >>> waits("TT6", instant("2026-03-28T19:00Z"), zone("Europe/Oslo"), [rule])[0].until_local.isoformat()
    '2026-03-29T09:00:00+02:00'
    """
    if surfaced.utcoffset() is None:
        raise WaitError(f"instant: {surfaced.isoformat()} has no offset. Give an aware instant.")
    start = surfaced.astimezone(UTC)
    revisions = dict.fromkeys(one.revision for one in rules)
    kinds = dict.fromkeys((one.person, one.purpose) for one in rules)
    return tuple(_wait((*kind, revision), table, start, place, rules) for kind in kinds for revision in revisions)


def _wait(kind: tuple[str, str, str], table: str, start: datetime, place: ZoneInfo, rules: Sequence[WaitRule]) -> Wait:
    person, purpose, revision = kind
    for rule in rules:
        if (rule.person, rule.purpose, rule.revision) == kind and table in rule.tables:
            until = start + timedelta(hours=rule.hours)
            return Wait(revision, person, purpose, rule.hours, until, until.astimezone(place), rule.about)
    return Wait(revision, person, purpose, None, None, None, "")
