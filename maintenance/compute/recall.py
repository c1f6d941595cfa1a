"""What rested on a reference or an instrument that turned out bad, through every step of the chain.

Days are civil dates of the site. An instrument is in doubt from the day after it was last known good, or from the
day of a doubtful comparison, through the day of its next good one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta


@dataclass(frozen=True, slots=True)
class Certificate:
    """A certificate of a reference; ``equipment`` where the reference is an item of the plant."""

    pk: int
    reference: int
    on: date
    rests_on: int | None = None
    equipment: int | None = None


@dataclass(frozen=True, slots=True)
class Comparison:
    """An instrument compared with a reference by its certificate; ``good`` if it left the instrument fit for use."""

    pk: int
    equipment: int
    certificate: int | None
    on: date
    good: bool = True


@dataclass(frozen=True, slots=True)
class Use:
    """Something found with an instrument: an analysis or a sample, by its kind and number."""

    kind: str
    pk: int
    equipment: int
    on: date


@dataclass(frozen=True, slots=True)
class Chain:
    """All certificates, comparisons and uses of a site that still count."""

    certificates: tuple[Certificate, ...] = ()
    comparisons: tuple[Comparison, ...] = ()
    uses: tuple[Use, ...] = ()


@dataclass(frozen=True, slots=True)
class Bad:
    """What turned out bad: references, or an instrument; last day it was known good and the day it was found."""

    references: frozenset[int]
    equipment: int | None
    last_good_on: date
    found_on: date


@dataclass(frozen=True, slots=True)
class Span:
    """An instrument in doubt, both days included; without an end where no good comparison followed."""

    equipment: int
    first: date
    last: date | None

    def holds(self, day: date) -> bool:
        """Return whether a day lies within."""
        return self.first <= day and (self.last is None or day <= self.last)


@dataclass(slots=True)
class Reached:
    """Numbers of what rested on the bad thing. The bad reference's own certificates are not among them."""

    certificates: set[int] = field(default_factory=set)
    comparisons: set[int] = field(default_factory=set)
    uses: set[tuple[str, int]] = field(default_factory=set)
    spans: set[Span] = field(default_factory=set)


def reached(chain: Chain, bad: Bad) -> Reached:
    """Return everything that rested on the bad thing since its last good day, through every step.

    A comparison of the bad reference's own counts where it was made after the last good day on a certificate from
    before it was found bad. A certificate made from a doubtful one, or on the day of a doubtful comparison of the
    item that it is of, is doubtful itself, and so is all that was compared with it.
    Source: the chain of comparisons as ISO/IEC 17025 asks for it, from memory.
    """
    after = bad.last_good_on + timedelta(days=1)
    roots = {one.pk for one in chain.certificates if one.reference in bad.references and one.on < bad.found_on}
    found = Reached()
    if bad.equipment is not None:
        found.spans.add(Span(bad.equipment, after, _mended(chain, bad.equipment, bad.found_on, found)))
    before = None
    while before != (len(found.certificates), len(found.comparisons)):
        before = (len(found.certificates), len(found.comparisons))
        _certificates(chain, found, roots, after)
        for one in chain.comparisons:
            of_root = one.certificate in roots and one.on >= after
            if of_root or one.certificate in found.certificates:
                found.comparisons.add(one.pk)
    _spans(chain, found, bad)
    found.uses = {
        (use.kind, use.pk)
        for use in chain.uses
        if any(span.equipment == use.equipment and span.holds(use.on) for span in found.spans)
    }
    return found


def _certificates(chain: Chain, found: Reached, roots: set[int], after: date) -> None:
    doubtful_days = {(one.equipment, one.on) for one in chain.comparisons if one.pk in found.comparisons}
    for one in chain.certificates:
        from_root = one.rests_on in roots and one.on >= after
        own_day = one.equipment is not None and (one.equipment, one.on) in doubtful_days
        if one.pk not in roots and (from_root or own_day or one.rests_on in found.certificates):
            found.certificates.add(one.pk)


def _spans(chain: Chain, found: Reached, bad: Bad) -> None:
    if bad.equipment is not None:
        found.spans = {
            Span(one.equipment, one.first, _mended(chain, one.equipment, bad.found_on, found)) for one in found.spans
        }
    for one in chain.comparisons:
        if one.pk in found.comparisons:
            found.spans.add(Span(one.equipment, one.on, _mended(chain, one.equipment, one.on, found)))


def _mended(chain: Chain, equipment: int, since: date, found: Reached) -> date | None:
    """Return the day of the first good comparison from ``since`` on that is in no doubt itself."""
    days = [
        one.on
        for one in chain.comparisons
        if one.equipment == equipment and one.good and one.on >= since and one.pk not in found.comparisons
    ]
    return min(days, default=None)
