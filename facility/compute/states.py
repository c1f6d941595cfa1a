"""The four levels of readiness and the words that each is called by.

One order serves members, findings and plans: a higher level is worse.
"""

from __future__ import annotations

from enum import IntEnum, StrEnum

GOOD, LIMITED, UNKNOWN, BAD = 0, 1, 2, 3


class Level(IntEnum):
    """State of one member or person; a higher value is worse."""

    GOOD = GOOD
    LIMITED = LIMITED
    UNKNOWN = UNKNOWN
    BAD = BAD


class FindingState(StrEnum):
    """State of one need or of the crew."""

    HOLDS = "holds"
    LIMITS = "limits"
    NOT_KNOWN = "not known"
    STOPS = "stops"


class State(StrEnum):
    """State of a plan: that of its worst finding."""

    READY = "Ready"
    READY_WITH_LIMITS = "Ready with limits"
    NOT_KNOWN = "Not known"
    NOT_READY = "Not ready"


FINDING_STATES = tuple(FindingState)
STATES = tuple(State)
CAUTION = "From records only; the supervisor and the physician decide; local codes prevail."
