"""Rest by the duty roster: in which spans somebody has not rested, by the house's own limits.

Pure. Units: minutes; spans are [from, until). A limit of 0 is not asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from facility.compute.facts import Span

if TYPE_CHECKING:
    from collections.abc import Iterable


@dataclass(frozen=True, slots=True)
class RestRules:
    """``least_rest_min``: rest before duty begins; ``longest_duty_min``: of one unbroken duty."""

    least_rest_min: int = 0
    longest_duty_min: int = 0

    @property
    def asked(self) -> bool:
        """Whether the house asks for anything."""
        return self.least_rest_min > 0 or self.longest_duty_min > 0


def unrested(duty: Iterable[Span], rules: RestRules) -> tuple[Span, ...]:
    """Return the spans of duty in which the person has not rested.

    Duty that begins sooner after the last one than the least rest is unrested to its end: nobody rests on duty.
    Duty that lasts longer than the longest is unrested from there on. Before the first duty on record there was rest.

    >>> unrested([Span(0, 480), Span(600, 1080)], RestRules(least_rest_min=660))
    (Span(from_=600, until=1080),)
    >>> unrested([Span(0, 1440)], RestRules(longest_duty_min=720))
    (Span(from_=720, until=1440),)
    """
    found: list[Span] = []
    ended: int | None = None
    for one in _unbroken(duty) if rules.asked else ():
        begin = one.until
        if ended is not None and one.from_ - ended < rules.least_rest_min:
            begin = one.from_
        elif rules.longest_duty_min > 0:
            begin = min(one.until, one.from_ + rules.longest_duty_min)
        if begin < one.until:
            found.append(Span(begin, one.until))
        ended = one.until
    return tuple(found)


def _unbroken(duty: Iterable[Span]) -> list[Span]:
    """Put together what overlaps or touches."""
    found: list[Span] = []
    for one in sorted(duty, key=lambda span: (span.from_, span.until)):
        if found and one.from_ <= found[-1].until:
            found[-1] = Span(found[-1].from_, max(found[-1].until, one.until))
        else:
            found.append(one)
    return found
