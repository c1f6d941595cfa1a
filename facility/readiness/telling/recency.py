"""A qualification that lapses without practice: from the newest run or drill, or from the day it was issued.

Practice is an ended run in a role that stands for the qualification (practice_roles.toml beside this file, or a
role named by the key itself), or a drill that reached its goal: one in that role, or one where no role was written.
The days run from the later of the newest practice and the day of issue, so that another practice never shortens them.
They end with the same day so many days later, in the zone of the site.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from django.utils.text import slugify

from facility.gathered import minute_down
from facility.readiness.times import local

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from facility.gathered import Row

ROLES_FILE = Path(__file__).parent / "practice_roles.toml"


@dataclass(frozen=True, slots=True)
class Recency:
    """How long one certificate counts by practice. ``last_on`` None: nothing is on record, the day of issue counts."""

    every_days: int
    last_on: date | None
    good_through: date


@lru_cache
def roles_of_kinds() -> Mapping[str, frozenset[str]]:
    """Return the roles in a run that are practice, by the key of a kind of qualification."""
    found = tomllib.loads(ROLES_FILE.read_text(encoding="utf-8"))
    return {key: frozenset(roles) for key, roles in found.items()}


def is_practice(key: str, role: str) -> bool:
    """Return whether doing ``role`` is practice for the qualification of that key.

    >>> is_practice("inside-tender", "tender"), is_practice("tender", "tender"), is_practice("first-aid", "tender")
    (True, True, False)
    """
    said = slugify(role)
    return said == key or said in roles_of_kinds().get(key, frozenset())


def last_practised(key: str, runs: Iterable[Row], drills: Iterable[Row], zone: str) -> date | None:
    """Return the civil day of the newest practice for a qualification. Rows: [role, newest instant]."""
    days = [_day(at, zone) for role, at in runs if is_practice(key, role)]
    days += [_day(at, zone) for role, at in drills if not role.strip() or is_practice(key, role)]
    return max(days, default=None)


def recency(every_days: int, issued_on: date, last_on: date | None) -> Recency:
    """Return until when a certificate counts by practice.

    >>> recency(90, date(2026, 1, 1), None).good_through
    datetime.date(2026, 4, 1)
    """
    start = issued_on if last_on is None else max(issued_on, last_on)
    try:
        return Recency(every_days, last_on, start + timedelta(days=every_days))
    except OverflowError:
        return Recency(every_days, last_on, date.max)


def _day(at: str, zone: str) -> date:
    return local(minute_down(at), zone).date()
