"""Until when the state of a plan holds, what limits it, and from when it is ready."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeAlias

from facility.compute.instants import FOREVER, Instant
from facility.compute.signals import Signal, Worst
from facility.compute.states import BAD, LIMITED, UNKNOWN

Horizons: TypeAlias = tuple[Instant | None, tuple[str, ...], Instant | None]
"""Holds until, the limiting needs, ready from."""


def horizons(
    signals: Mapping[str, Signal],
    known: Mapping[str, Instant | None],
    level: int,
    at: Instant,
) -> Horizons:
    """Horizons of a plan that is at ``level`` at ``at``.

    ``known``: the first worse start of each need that is itself at ``level``.
    """
    holds_until: Instant | None = None
    limiting: tuple[str, ...] = ()
    if level < BAD and signals:
        holds_until, limiting = _holds(signals, known, level, at)
    ready_from = None
    if level >= UNKNOWN and signals:
        found = Worst(list(signals.values())).until_within(at, LIMITED)
        ready_from = None if found >= FOREVER else found
    return holds_until, limiting, ready_from


def _holds(
    signals: Mapping[str, Signal],
    known: Mapping[str, Instant | None],
    level: int,
    at: Instant,
) -> tuple[Instant | None, tuple[str, ...]]:
    worse: dict[str, Instant] = {}
    for name, signal in signals.items():
        if name in known:
            begin = known[name]
            worse[name] = FOREVER if begin is None else begin
        else:
            worse[name] = signal.until_worse(at, level)
    first = min(worse.values())
    if first >= FOREVER:
        return None, ()
    return first, tuple(name for name, begin in worse.items() if begin == first)
