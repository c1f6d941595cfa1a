"""The word for a whole chamber, and when an answer that was kept may still be shown.

The rules are this project's own; common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from facility.compute.states import State

if TYPE_CHECKING:
    from collections.abc import Collection

SHOWN_FOR = timedelta(minutes=15)
"""How long a kept answer may be shown at most. A design choice of this project, as in the public status; no source."""
CAN_START = frozenset({State.READY, State.READY_WITH_LIMITS})


class Old(StrEnum):
    """Why a kept answer no longer counts."""

    NEVER = "never reckoned"
    CLOCK = "of later than the clock"
    LOG = "of another log"
    AGE = "too old"
    ENDED = "past its end"
    CHANGED = "something was recorded since"


@dataclass(frozen=True, slots=True)
class Kept:
    """When an answer was reckoned, the newest event it had seen, and its first end."""

    known_at: datetime
    known_seq: int
    holds_until: datetime | None


@dataclass(frozen=True, slots=True)
class Log:
    """The newest event of all, and the newest one of no site that may bear on readiness (0: none)."""

    newest: int
    common: int


def chamber_state(plans: Collection[State]) -> State:
    """Return the word for a chamber from those of its plans.

    Ready if every plan is; with limits if only some can start, or some only with limits; if none can start, Not
    known as soon as one of them is, else Not ready. Without a plan nothing is known.

    >>> str(chamber_state([State.READY, State.NOT_READY])), str(chamber_state([]))
    ('Ready with limits', 'Not known')
    """
    if not plans:
        return State.NOT_KNOWN
    if all(state == State.READY for state in plans):
        return State.READY
    if any(state in CAN_START for state in plans):
        return State.READY_WITH_LIMITS
    return State.NOT_KNOWN if State.NOT_KNOWN in plans else State.NOT_READY


def why_old(kept: Kept | None, at: datetime, log: Log, *, changed: bool) -> Old | None:
    """Return why a kept answer must not be shown at ``at``; None if it may.

    ``changed``: an event of its site is newer than ``kept.known_seq``. Times are aware.
    """
    if kept is None:
        return Old.NEVER
    if kept.known_at > at:
        return Old.CLOCK
    if kept.known_seq > log.newest:
        return Old.LOG
    if changed or log.common > kept.known_seq:
        return Old.CHANGED
    if kept.holds_until is not None and kept.holds_until <= at:
        return Old.ENDED
    return Old.AGE if at - kept.known_at >= SHOWN_FOR else None


def shown_until(kept: Kept) -> datetime:
    """Return the instant after which nobody may go by a kept answer any more."""
    latest = kept.known_at + SHOWN_FOR
    return latest if kept.holds_until is None else min(kept.holds_until, latest)
