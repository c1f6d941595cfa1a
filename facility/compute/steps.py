"""Step functions of time: a level from each instant until the next.

A step function is a pair of lists of equal length: instants, rising, and the level
from each of them on. It begins at the instant that readiness is asked for; what was
before does not matter any more.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeAlias

from facility.compute.instants import FOREVER, Instant

Steps: TypeAlias = tuple[list[Instant], list[int]]
LevelSpan: TypeAlias = tuple[Instant, Instant, int]
"""From, until, level."""

PAST: Instant = -FOREVER


def worst_of(spans: Iterable[LevelSpan], start: Instant) -> Steps:
    """Worst level of all spans over time from ``start`` on; good outside of them.

    >>> worst_of([(5, 9, 3), (7, 12, 2)], 6)
    ([6, 9, 12], [3, 2, 0])
    """
    live = [span for span in spans if span[1] > start]
    if not live:
        return [start], [0]
    level = live[0][2]
    if all(span[1] == FOREVER and span[2] == level for span in live):
        since = min(span[0] for span in live)
        return ([start, since], [0, level]) if since > start else ([start], [level])
    return _stacked(live, start)


def _stacked(live: list[LevelSpan], start: Instant) -> Steps:
    points = {start}
    for since, until, _ in live:
        points.update(one for one in (since, until) if start < one < FOREVER)
    instants: list[Instant] = []
    levels: list[int] = []
    for point in sorted(points):
        over = [span[2] for span in live if span[0] <= point < span[1]]
        level = max(over, default=0)
        if not levels or levels[-1] != level:
            instants.append(point)
            levels.append(level)
    return instants, levels


def covered(spans: Iterable[tuple[Instant, Instant]], start: Instant, outside: int) -> Steps:
    """Good inside any of the spans, ``outside`` elsewhere, from ``start`` on.

    >>> covered([(0, 5), (3, 8), (10, 12)], 1, 3)
    ([1, 8, 10, 12], [0, 3, 0, 3])
    """
    instants, levels = [start], [outside]
    for since, until in sorted(spans):
        if until <= instants[-1]:
            continue
        if since > instants[-1]:
            instants.append(since)
            levels.append(0)
        elif len(instants) == 1:
            levels[0] = 0
        else:
            instants.pop()
            levels.pop()
        instants.append(until)
        levels.append(outside)
    return instants, levels


def worst_of_steps(many: list[Steps], start: Instant) -> Steps:
    """Worst level of several step functions that all begin at ``start``.

    >>> worst_of_steps([([0, 5], [0, 3]), ([0, 2, 7], [1, 0, 2])], 0)
    ([0, 2, 5], [1, 0, 3])
    """
    many = [steps for steps in many if len(steps[0]) > 1 or steps[1][0]]
    if not many:
        return [start], [0]
    if len(many) == 1:
        return many[0]
    return _swept(many, sorted({one for steps in many for one in steps[0]}))


def _swept(many: list[Steps], changes: list[Instant]) -> Steps:
    instants: list[Instant] = []
    levels: list[int] = []
    places = [-1] * len(many)
    for instant in changes:
        worst = 0
        for number, (starts, values) in enumerate(many):
            place = places[number]
            if place + 1 < len(starts) and starts[place + 1] <= instant:
                place += 1
                places[number] = place
            worst = max(worst, values[place])
        if not levels or levels[-1] != worst:
            instants.append(instant)
            levels.append(worst)
    return instants, levels


def spans_within(steps: Steps, limit: int) -> list[tuple[Instant, Instant]]:
    """Spans in which a step function is not worse than ``limit``.

    >>> spans_within(([0, 4, 6, 9], [1, 0, 3, 0]), 1) == [(0, 6), (9, FOREVER)]
    True
    """
    spans: list[tuple[Instant, Instant]] = []
    since: Instant | None = None
    for instant, level in zip(*steps, strict=True):
        if level <= limit and since is None:
            since = instant
        elif level > limit and since is not None:
            spans.append((since, instant))
            since = None
    if since is not None:
        spans.append((since, FOREVER))
    return spans
