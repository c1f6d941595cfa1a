"""Small numbers of people treated are not told outside: in a small place one of four can be known by it. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

#: from so many on a group is told by its number (common practice, no source)
LEAST: Final = 5


def kept_back(counts: Sequence[int]) -> list[bool]:
    """Return which counts of one whole are not told: those from 1 to 4, and one more where their sum would give one away.

    A count of 0 is told. The counts make up a total that is told where it is itself 0 or at least 5.

    >>> kept_back([7, 0, 2, 12])
    [True, False, True, False]
    >>> kept_back([7, 12])
    [False, False]
    """
    hidden = [0 < count < LEAST for count in counts]
    left = sum(count for count, hide in zip(counts, hidden, strict=True) if hide)
    if any(hidden) and left < LEAST:
        told = [place for place, hide in enumerate(hidden) if not hide and counts[place]]
        if told:
            hidden[min(told, key=lambda place: counts[place])] = True
    return hidden


def total_told(counts: Sequence[int]) -> bool:
    """Return whether the sum of counts may be told: it is 0 or at least 5.

    >>> total_told([2, 1]), total_told([2, 3]), total_told([])
    (False, True, True)
    """
    total = sum(counts)
    return total == 0 or total >= LEAST
