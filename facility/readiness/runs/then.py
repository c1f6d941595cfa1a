"""What was shown when a run started, from the text that was kept of it: a row for each plan, and what else it says.

The text is told as it was kept; only the site's time is put beside an instant that it holds in UTC.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.text import capfirst

from facility.compute.states import STATES
from facility.nested import INSTANT, offset_text, with_local

if TYPE_CHECKING:
    from datetime import datetime
    from zoneinfo import ZoneInfo

_STATES = "|".join(sorted(STATES, key=len, reverse=True))
_PLAN = re.compile(rf"(?P<plan>.+?): (?P<state>{_STATES})(?:, (?P<rest>.+))?")


@dataclass(frozen=True, slots=True)
class PlanThen:
    """A plan as it was said to be: its name, its state, and until when or what limited it or stood in the way."""

    plan: str
    state: str
    rest: str


@dataclass(frozen=True, slots=True)
class Then:
    """The text in parts. ``in_utc``: it holds instants in UTC, the site's time stands beside them; ``offset`` then."""

    before: tuple[str, ...]
    plans: tuple[PlanThen, ...]
    after: tuple[str, ...]
    in_utc: bool
    zone: str
    offset: str


def then(text: str, zone: ZoneInfo, at: datetime) -> Then:
    """Return what was shown when a run left surface ``at``, in parts, in the order of the text."""
    before: list[str] = []
    plans: list[PlanThen] = []
    after: list[str] = []
    for line in with_local(text, zone).splitlines():
        found = _PLAN.fullmatch(line)
        if found is not None and not after:
            plans.append(PlanThen(found["plan"], found["state"], capfirst(found["rest"] or "")))
        elif line.strip():
            (after if plans else before).append(line)
    return Then(
        tuple(before), tuple(plans), tuple(after), INSTANT.search(text) is not None, zone.key,
        offset_text(at.astimezone(zone)),
    )  # fmt: skip
