"""The crew as a signal: can its places be filled by people good enough?"""

from __future__ import annotations

from collections.abc import Sequence

from facility.compute.instants import FOREVER, Instant
from facility.compute.matching import match, size
from facility.compute.signals import Signal
from facility.compute.states import BAD


class Filling:
    """Which people may take which place while nothing is worse than a limit.

    Keeps for each role and person the span, now or next, in which the person is
    within the limit. Questions come in rising order of start; an earlier one makes
    it begin anew.
    """

    def __init__(
        self, roles: Sequence[Sequence[Signal]], counts: Sequence[int], limit: int
    ) -> None:
        """Take for each role the signal of each person, and its number of places."""
        self.pairs = [
            (role, 1 << number, signal)
            for role, signals in enumerate(roles)
            for number, signal in enumerate(signals)
        ]
        self.counts = counts
        self.limit = limit
        self.now: Instant = FOREVER
        self.begins: list[Instant] = []
        self.ends: list[Instant] = []

    def _advance(self, start: Instant) -> None:
        if start < self.now:
            self.begins = [start] * len(self.pairs)
            self.ends = [start] * len(self.pairs)
        self.now = start
        begins, ends, limit = self.begins, self.ends, self.limit
        for place, end in enumerate(ends):
            if end <= start:
                signal = self.pairs[place][2]
                begin = signal.until_within(start, limit)
                begins[place] = begin
                ends[place] = (
                    FOREVER if begin >= FOREVER else signal.until_worse(begin, limit)
                )

    def masks(self, start: Instant, lasting: Instant = -FOREVER) -> list[int]:
        """For each place the people within the limit at ``start`` and until after."""
        self._advance(start)
        by_role = [0] * len(self.counts)
        for (role, bit, _), begin, end in zip(
            self.pairs, self.begins, self.ends, strict=True
        ):
            if begin <= start and end >= lasting:
                by_role[role] |= bit
        return [
            mask
            for mask, count in zip(by_role, self.counts, strict=True)
            for _ in range(count)
        ]

    def is_full(self, start: Instant, lasting: Instant = -FOREVER) -> bool:
        """Whether every place is filled."""
        return -1 not in match(self.masks(start, lasting))

    def lasts_until(self, start: Instant) -> Instant:
        """How long the longest-lasting full crew at ``start`` stays as it is."""
        ends = sorted(
            {
                end
                for begin, end in zip(self.begins, self.ends, strict=True)
                if begin <= start
            }
        )
        low, high = 0, len(ends) - 1
        while low < high:
            middle = (low + high + 1) // 2
            if self.is_full(start, ends[middle]):
                low = middle
            else:
                high = middle - 1
        return ends[low]

    def next_change(self, start: Instant) -> Instant:
        """Next instant at which a person comes within the limit or leaves it."""
        later = [one for one in self.begins if one > start]
        return min(later + [one for one in self.ends if one > start], default=FOREVER)


class Crew:
    """All places filled by good people: good; else limited, unknown or bad."""

    def __init__(
        self, roles: Sequence[Sequence[Signal]], counts: Sequence[int]
    ) -> None:
        """Take for each role the signal of each person, and its number of places."""
        self.slots = sum(counts)
        self.fillings = [Filling(roles, counts, limit) for limit in range(BAD)]

    def filled(self, start: Instant) -> list[int]:
        """Places filled by good, by good or limited, by all but bad people."""
        sizes: list[int] = []
        for filling in self.fillings:
            full = bool(sizes) and sizes[-1] == self.slots
            sizes.append(self.slots if full else size(filling.masks(start)))
        return sizes

    def level(self, start: Instant) -> int:
        """The first limit within which every place is filled."""
        for filling in self.fillings:
            if filling.is_full(start):
                return filling.limit
        return BAD

    def until_worse(self, start: Instant, limit: int) -> Instant:
        """Change the crew as late as can be until no change fills every place."""
        if limit >= BAD or not self.slots:
            return FOREVER
        filling = self.fillings[limit]
        while start < FOREVER and filling.is_full(start):
            start = filling.lasts_until(start)
        return start

    def until_within(self, start: Instant, limit: int) -> Instant:
        """The first start at which every place is filled."""
        if limit >= BAD:
            return start
        filling = self.fillings[limit]
        while start < FOREVER and not filling.is_full(start):
            start = filling.next_change(start)
        return start
