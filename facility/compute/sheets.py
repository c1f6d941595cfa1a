"""Check sheets: their steps, how an answer is judged, what a check says, what a new version changed."""

from __future__ import annotations

from facility.compute.sheet_answers import (
    Beyond,
    ImplausibleError,
    Outcome,
    Range,
    Result,
    Typed,
    Verdict,
    how_far,
    judge,
    result_of,
    worst,
)
from facility.compute.sheet_changes import Group, differences, groups_of
from facility.compute.sheet_steps import Effect, Kind, SheetError, Step, parse_steps, plain_step

__all__ = [
    "Beyond", "Effect", "Group", "ImplausibleError", "Kind", "Outcome", "Range", "Result", "SheetError", "Step", "Typed",
    "Verdict", "differences", "groups_of", "how_far", "judge", "parse_steps", "plain_step", "result_of", "worst",
]  # fmt: skip
