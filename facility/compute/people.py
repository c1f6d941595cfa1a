"""When a person is good for a role, and what lacks."""

from __future__ import annotations

from facility.compute.facts import Held, Span
from facility.compute.instants import FOREVER, Instant
from facility.compute.states import BAD, GOOD, UNKNOWN
from facility.compute.steps import (
    PAST,
    LevelSpan,
    Steps,
    covered,
    worst_of,
)


def duty_steps(duty: tuple[Span, ...], roster_until: Instant | None, start: Instant) -> Steps:
    """On duty good, off duty bad, off duty beyond the roster's end unknown."""
    steps = covered([(span.from_, span.until) for span in duty], start, BAD)
    if roster_until is None:
        return steps
    instants: list[Instant] = []
    levels: list[int] = []
    ends = [*steps[0][1:], FOREVER]
    for instant, level, end in zip(*steps, ends, strict=True):
        beyond = level == BAD and instant >= roster_until
        instants.append(instant)
        levels.append(UNKNOWN if beyond else level)
        if level == BAD and instant < roster_until < end:
            instants.append(roster_until)
            levels.append(UNKNOWN)
    return instants, levels


def qualification_steps(held: tuple[Held, ...], start: Instant) -> Steps:
    """Held good, waiting for a second look unknown, not held bad."""
    return _best_of([(PAST, FOREVER, BAD), *_held(held)], start)


def medical_steps(medical: tuple[Held, ...], start: Instant) -> Steps:
    """In date good, expired bad, none on record (yet) unknown."""
    ends = [one.until for one in medical if one.until is not None]
    expired = min(ends, default=FOREVER)
    outside = [(PAST, expired, UNKNOWN), (expired, FOREVER, BAD)]
    return _best_of([*outside, *_held(medical)], start)


def _held(held: tuple[Held, ...]) -> list[LevelSpan]:
    return [
        (
            one.from_,
            FOREVER if one.until is None else one.until,
            UNKNOWN if one.second_look else GOOD,
        )
        for one in held
    ]


def _best_of(spans: list[LevelSpan], start: Instant) -> Steps:
    live = [span for span in spans if span[1] > start]
    points = {start}
    for since, until, _ in live:
        points.update(one for one in (since, until) if start < one < FOREVER)
    instants: list[Instant] = []
    levels: list[int] = []
    for point in sorted(points):
        level = min(best for since, until, best in live if since <= point < until)
        if not levels or levels[-1] != level:
            instants.append(point)
            levels.append(level)
    return instants, levels


def span_steps(spans: tuple[Span, ...], level: int, start: Instant) -> Steps:
    """``level`` inside any of the spans, good outside."""
    return worst_of([(span.from_, span.until, level) for span in spans], start)
