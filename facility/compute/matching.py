"""Filling places with people: maximum matching by augmenting paths on bit masks.

Source: augmenting paths and the reachable (missable) side of a maximum matching,
as in any text on bipartite matching; from memory.
"""

from __future__ import annotations

from collections.abc import Sequence


def match(masks: Sequence[int]) -> list[int]:
    """Give each place a person of its own, as many places as can be.

    ``masks``: for each place the people who may take it, as bits.
    Returns for each place the number of its person, or -1.

    >>> match([0b11, 0b01])
    [1, 0]
    """
    holders = [-1] * len(masks)
    places: dict[int, int] = {}
    taken = 0
    for place, mask in enumerate(masks):
        free = mask & ~taken
        if free:
            person = (free & -free).bit_length() - 1
            holders[place] = person
            places[person] = place
            taken |= 1 << person
        else:
            taken = _augment(place, masks, holders, places, taken)
    return holders


def _augment(
    place: int,
    masks: Sequence[int],
    holders: list[int],
    places: dict[int, int],
    taken: int,
) -> int:
    """Search breadth first for a chain of moves that ends at a free person."""
    reached_from: dict[int, int] = {}
    queue = [place]
    seen = 0
    for current in queue:
        fresh = masks[current] & ~seen
        seen |= fresh
        free = fresh & ~taken
        if free:
            person = (free & -free).bit_length() - 1
            _move(current, person, holders, places, reached_from)
            return taken | 1 << person
        while fresh:
            bit = fresh & -fresh
            fresh ^= bit
            person = bit.bit_length() - 1
            reached_from[places[person]] = current
            queue.append(places[person])
    return taken


def _move(
    place: int,
    person: int,
    holders: list[int],
    places: dict[int, int],
    reached_from: dict[int, int],
) -> None:
    while True:
        before = holders[place]
        holders[place] = person
        places[person] = place
        if before < 0:
            return
        person = before
        place = reached_from[place]


def size(masks: Sequence[int]) -> int:
    """How many places can be filled.

    >>> size([0b1, 0b1])
    1
    """
    return sum(1 for person in match(masks) if person >= 0)


def short_places(masks: Sequence[int], holders: Sequence[int]) -> set[int]:
    """Places that some maximum matching leaves empty: one more person fills one."""
    reached = {place for place, person in enumerate(holders) if person < 0}
    place_of = {person: place for place, person in enumerate(holders) if person >= 0}
    queue = list(reached)
    for place in queue:
        for person, other in place_of.items():
            if masks[place] >> person & 1 and other not in reached:
                reached.add(other)
                queue.append(other)
    return reached


def spare_people(masks: Sequence[int], holders: Sequence[int], people: int) -> set[int]:
    """People whom some maximum matching leaves without a place."""
    held = {person for person in holders if person >= 0}
    reached = set(range(people)) - held
    queue = list(reached)
    for person in queue:
        for place, mask in enumerate(masks):
            holder = holders[place]
            if mask >> person & 1 and holder >= 0 and holder not in reached:
                reached.add(holder)
                queue.append(holder)
    return reached
