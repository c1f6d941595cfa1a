"""Oxygen that a tender owes at the end of a run. Where the handbook does not speak the answer is None."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from treatments.compute.tables import OXYGEN, Segment

if TYPE_CHECKING:
    from collections.abc import Mapping

NOT_STATED = "not stated; ask the physician"


class TenderError(ValueError):
    """An input that no tender has: what, which value, what is allowed."""


@dataclass(frozen=True, slots=True)
class OxygenRule:
    """Oxygen of a tender on one table: minutes at ``depth_fsw``, then the ascent from there (None: not stated)."""

    depth_fsw: float
    up_to_one_min: float
    more_min: float
    previous_min: float | None
    ascent_min: float | None


@dataclass(frozen=True, slots=True)
class TenderOxygen:
    """Minutes at depth and in all; None where it is not stated."""

    at_depth_min: float | None
    total_min: float | None
    depth_fsw: float | None


def counts_as_previous(gap_hours: float | None, look_back_hours: float) -> bool:
    """Return whether a previous exposure counts.

    Units: ``gap_hours`` elapsed hours from surfacing to leaving the surface, None for no exposure.
    Exactly the look-back no longer counts: own reading, the handbook says "within".
    Errors: TenderError for a negative gap.
    """
    if gap_hours is None:
        return False
    if gap_hours < 0:
        raise TenderError(f"hours since the previous exposure: {gap_hours:g} is not taken. Allowed: 0 or more.")
    return gap_hours < look_back_hours


def owed(rule: OxygenRule | None, extensions: int, *, most_extensions: int, previous: bool) -> TenderOxygen:
    """Return the oxygen owed.

    ``rule``: None where the table is not named. ``most_extensions``: what the table allows in all;
    beyond that nothing is stated. Errors: TenderError for a negative count.
    Source: treatments/reference/tender.toml. Valid: at sea level, without a break of its own across
    the patient's air break.
    """
    if extensions < 0:
        raise TenderError(f"extensions: {extensions} is not taken. Allowed: 0 or more.")
    silent = rule is None or extensions > most_extensions or (previous and rule.previous_min is None)
    if rule is None or silent:
        return TenderOxygen(None, None, None)
    minutes = rule.up_to_one_min if extensions <= 1 else rule.more_min
    if previous:
        minutes += rule.previous_min or 0
    total = None if rule.ascent_min is None else minutes + rule.ascent_min
    return TenderOxygen(minutes, total, rule.depth_fsw)


def breathed(oxygen: TenderOxygen, rule: OxygenRule) -> tuple[Segment, ...]:
    """Return the oxygen owed as segments, for its dose and its volume; none where its total is not stated."""
    if oxygen.at_depth_min is None or rule.ascent_min is None:
        return ()
    depth = rule.depth_fsw
    found = (Segment(depth, depth, oxygen.at_depth_min, OXYGEN), Segment(depth, 0.0, rule.ascent_min, OXYGEN))
    return tuple(one for one in found if one.minutes > 0)


def rule_for(table: str, rules: Mapping[str, OxygenRule]) -> OxygenRule | None:
    """Return the rule of a table; the older form of a table follows the rule of the table."""
    return rules.get(table.removesuffix("-older"))
