"""Levels as functions of the instant at which a run starts.

A signal answers three questions: its level for a start at ``s``; the first start from
``s`` on that is worse than a limit; the first start from ``s`` on that is within it. ``FOREVER`` means never. Signals are only asked
from the instant on at which their step functions begin.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from typing import Protocol

from facility.compute.instants import FOREVER, Instant
from facility.compute.states import BAD
from facility.compute.steps import Steps


class Signal(Protocol):
    """A level for every start."""

    def level(self, start: Instant) -> int:
        """Level for a run that starts at ``start``."""

    def until_worse(self, start: Instant, limit: int) -> Instant:
        """First start from ``start`` on that is worse than ``limit``."""

    def until_within(self, start: Instant, limit: int) -> Instant:
        """First start from ``start`` on that is not worse than ``limit``."""


class Constant:
    """The same level at every start."""

    __slots__ = ("value",)

    def __init__(self, value: int) -> None:
        """Hold the level."""
        self.value = value

    def level(self, _start: Instant) -> int:
        """Return the level held."""
        return self.value

    def until_worse(self, start: Instant, limit: int) -> Instant:
        """At once or never."""
        return FOREVER if self.value <= limit else start

    def until_within(self, start: Instant, limit: int) -> Instant:
        """At once or never."""
        return start if self.value <= limit else FOREVER


CONSTANTS = tuple(Constant(level) for level in range(BAD + 1))


class Window:
    """Worst level of a step function from ``start + first`` to ``start + last``.

    Both ends are included. Units: minutes.
    """

    __slots__ = ("first", "instants", "last", "levels")

    def __init__(self, steps: Steps, first: int, last: int) -> None:
        """Look at ``steps`` through a part of the run."""
        self.instants, self.levels = steps
        self.first = first
        self.last = last

    def level(self, start: Instant) -> int:
        """Worst level over the part."""
        instants, levels = self.instants, self.levels
        place = bisect_right(instants, start + self.first)
        worst = levels[place - 1]
        end = start + self.last
        while place < len(instants) and instants[place] <= end:
            worst = max(worst, levels[place])
            place += 1
        return worst

    def until_worse(self, start: Instant, limit: int) -> Instant:
        """The end of the part reaches the next step above the limit."""
        instants, levels = self.instants, self.levels
        place = bisect_right(instants, start + self.first) - 1
        while place < len(levels):
            if levels[place] > limit:
                begin = instants[place] - self.last
                return begin if begin > start else start
            place += 1
        return FOREVER

    def until_within(self, start: Instant, limit: int) -> Instant:
        """The start of the part has left the last step above the limit."""
        instants, levels = self.instants, self.levels
        place = bisect_right(instants, start + self.first) - 1
        while True:
            end = start + self.last
            bad = -1
            while place < len(instants) and instants[place] <= end:
                if levels[place] > limit:
                    bad = place
                place += 1
            if bad < 0:
                return start
            if bad + 1 == len(instants):
                return FOREVER
            place = bad + 1
            start = instants[place] - self.first


def window(steps: Steps, first: int, last: int) -> Signal:
    """Look at ``steps`` through a part; a single step needs no looking."""
    if len(steps[0]) == 1:
        return CONSTANTS[steps[1][0]]
    return Window(steps, first, last)


class Worst:
    """The worst of several signals."""

    __slots__ = ("signals",)

    def __init__(self, signals: Sequence[Signal]) -> None:
        """Hold the signals; none at all is good."""
        self.signals = signals

    def level(self, start: Instant) -> int:
        """Highest level of all."""
        return max([signal.level(start) for signal in self.signals], default=0)

    def until_worse(self, start: Instant, limit: int) -> Instant:
        """The first of them to get worse."""
        return min(
            [signal.until_worse(start, limit) for signal in self.signals],
            default=FOREVER,
        )

    def until_within(self, start: Instant, limit: int) -> Instant:
        """The first start at which all are within the limit together."""
        while start < FOREVER:
            found = max(
                [signal.until_within(start, limit) for signal in self.signals],
                default=start,
            )
            if found == start:
                break
            start = found
        return min(start, FOREVER)


def worst(signals: Sequence[Signal]) -> Signal:
    """Worst of several signals; one alone stays itself."""
    kept = [signal for signal in signals if signal is not CONSTANTS[0]]
    if len(kept) == 1:
        return kept[0]
    return Worst(kept) if kept else CONSTANTS[0]


class Best:
    """The best of several signals."""

    __slots__ = ("signals",)

    def __init__(self, signals: Sequence[Signal]) -> None:
        """Hold the signals; at least one."""
        self.signals = signals

    def level(self, start: Instant) -> int:
        """Lowest level of all."""
        return min(signal.level(start) for signal in self.signals)

    def until_worse(self, start: Instant, limit: int) -> Instant:
        """The first start at which none is within the limit."""
        while start < FOREVER:
            found = max(signal.until_worse(start, limit) for signal in self.signals)
            if found == start:
                break
            start = found
        return start

    def until_within(self, start: Instant, limit: int) -> Instant:
        """The first of them to come within the limit."""
        return min(signal.until_within(start, limit) for signal in self.signals)


class AtLeast:
    """The level that the best ``k`` of several signals reach together."""

    __slots__ = ("k", "signals")

    def __init__(self, signals: Sequence[Signal], k: int) -> None:
        """Hold the signals of the members; ``k`` from 1 to their number."""
        self.signals = signals
        self.k = k

    def level(self, start: Instant) -> int:
        """Level of the k-th best."""
        return sorted([signal.level(start) for signal in self.signals])[self.k - 1]

    def until_worse(self, start: Instant, limit: int) -> Instant:
        """The first start at which fewer than ``k`` are within the limit."""
        while start < FOREVER:
            ends = [signal.until_worse(start, limit) for signal in self.signals]
            ends.sort()
            if ends[-self.k] == start:
                break
            start = ends[-self.k]
        return start

    def until_within(self, start: Instant, limit: int) -> Instant:
        """The first start at which ``k`` are within the limit together."""
        while start < FOREVER:
            begins = sorted([signal.until_within(start, limit) for signal in self.signals])
            if begins[self.k - 1] == start:
                break
            start = begins[self.k - 1]
        return start


def at_least(signals: Sequence[Signal], k: int) -> Signal:
    """Rules 1 to 4 of a need; ``k`` of 0 asks for nothing."""
    if k == 0:
        return CONSTANTS[0]
    if k > len(signals):
        return CONSTANTS[BAD]
    if len(signals) == 1:
        return signals[0]
    return AtLeast(signals, k)
