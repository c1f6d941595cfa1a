"""The crew as a signal: can its places be filled by people good enough?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TypeAlias

from facility.compute.instants import FOREVER, Instant
from facility.compute.matching import match, size
from facility.compute.states import BAD
from facility.compute.steps import Steps, spans_within

Pair: TypeAlias = tuple[int, int, "PersonCalendar", int, int]
"""Number of the role, bit of the person, the person's calendar, first and last minute."""

PairSpan: TypeAlias = tuple[Instant, Instant, int, int]
"""From, until, number of the role, bit of the person."""

NEVER: PairSpan = (FOREVER, FOREVER, 0, 0)


class PersonCalendar:
    """How good a person is for a role, and the spans within each limit."""

    __slots__ = ("_within", "steps")

    def __init__(self, steps: Steps) -> None:
        """Hold a step function."""
        self.steps = steps
        self._within: list[list[tuple[Instant, Instant]] | None] = [None] * BAD

    def within(self, limit: int) -> list[tuple[Instant, Instant]]:
        """Spans in which the person is not worse than ``limit``."""
        found = self._within[limit]
        if found is None:
            found = self._within[limit] = spans_within(self.steps, limit)
        return found


class Filling:
    """Which people may take which place while nothing is worse than a limit.

    Keeps for each role and person the span, now or next, in which a start finds the
    person within the limit through the part. Questions come in rising order of start;
    an earlier one makes it begin anew.
    """

    def __init__(self, pairs: Sequence[Pair], counts: Sequence[int], limit: int) -> None:
        """Take everybody in each role, and each role's places."""
        self.pairs = pairs
        self.counts = counts
        self.limit = limit
        self.now: Instant = FOREVER
        self.next_end: Instant = FOREVER
        self.spans: list[PairSpan] = []
        self.coming: list[Iterator[PairSpan]] = []

    def _starts(self, pair: Pair) -> Iterator[PairSpan]:
        role, bit, calendar, first, last = pair
        for since, until in calendar.within(self.limit):
            end = until - last if until < FOREVER else FOREVER
            if since - first < end:
                yield since - first, end, role, bit

    def _advance(self, start: Instant) -> None:
        """Replace the spans that are over by the next of the same person and role."""
        if start < self.now:
            self.coming = [self._starts(pair) for pair in self.pairs]
            self.spans = [(start, start, 0, 0)] * len(self.coming)
        elif start < self.next_end:
            return
        spans = self.spans
        for place, span in enumerate(spans):
            if span[1] <= start:
                spans[place] = NEVER
                for found in self.coming[place]:
                    if found[1] > start:
                        spans[place] = found
                        break
        self.now = start
        self.next_end = min([span[1] for span in spans], default=FOREVER)

    def _by_place(self, spans: Sequence[PairSpan]) -> list[int]:
        by_role = [0] * len(self.counts)
        for _, _, role, bit in spans:
            by_role[role] |= bit
        masks: list[int] = []
        for mask, count in zip(by_role, self.counts, strict=True):
            masks += [mask] * count
        return masks

    def masks(self, start: Instant) -> list[int]:
        """For each place the people within the limit at ``start``, as bits."""
        self._advance(start)
        return self._by_place([span for span in self.spans if span[0] <= start])

    def is_full(self, start: Instant) -> bool:
        """Whether every place is filled."""
        return -1 not in match(self.masks(start))

    def lasts_until(self, start: Instant) -> Instant:
        """How long the longest-lasting crew at ``start`` stays full; else ``start``."""
        self._advance(start)
        present = [span for span in self.spans if span[0] <= start]
        bound = self._bound(present)
        if bound is None or self._full_until(present, bound):
            return start if bound is None else bound
        ends = sorted({span[1] for span in present if span[1] < bound})
        low, high = -1, len(ends) - 1
        while low < high:
            middle = (low + high + 1) // 2
            if self._full_until(present, ends[middle]):
                low = middle
            else:
                high = middle - 1
        return start if low < 0 else ends[low]

    def _full_until(self, present: list[PairSpan], end: Instant) -> bool:
        lasting = [span for span in present if span[1] >= end]
        return -1 not in match(self._by_place(lasting))

    def _bound(self, present: list[PairSpan]) -> Instant | None:
        """The role that is first short of people, were each person free for it."""
        ends: list[list[Instant]] = [[] for _ in self.counts]
        for _, end, role, _ in present:
            ends[role].append(end)
        bound = FOREVER
        for found, count in zip(ends, self.counts, strict=True):
            if count:
                if len(found) < count:
                    return None
                found.sort()
                bound = min(bound, found[-count])
        return bound

    def next_change(self, start: Instant) -> Instant:
        """Next instant at which a person comes within the limit or leaves it."""
        later = [begin for begin, _, _, _ in self.spans if begin > start]
        return min([*later, self.next_end])


class Crew:
    """All places filled by good people: good; else limited, unknown or bad."""

    def __init__(self, pairs: Sequence[Pair], counts: Sequence[int]) -> None:
        """Take everybody in each role, and each role's number of places."""
        self.slots = sum(counts)
        self.fillings = [Filling(pairs, counts, limit) for limit in range(BAD)]

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
        filling = self.fillings[limit]
        while start < FOREVER:
            lasts = filling.lasts_until(start)
            if lasts == start:
                break
            start = lasts
        return start

    def until_within(self, start: Instant, limit: int) -> Instant:
        """The first start at which every place is filled."""
        filling = self.fillings[limit]
        while start < FOREVER and not filling.is_full(start):
            start = filling.next_change(start)
        return start
