"""What rests on a bad reference, through every step; and against a slow walk written from the rule alone."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from maintenance.compute.recall import Bad, Certificate, Chain, Comparison, Span, Use, reached

JANUARY = date(2026, 1, 1)


def day(number: int) -> date:
    return JANUARY + timedelta(days=number)


MASTER, WORKING, ANALYSER, GAUGE = 1, 2, 30, 31


def test_a_recall_reaches_through_references_to_gauges_analysers_and_what_was_analysed() -> None:
    """Common practice, no source: a loaned master, a working reference compared with it, an analyser, a cylinder."""
    chain = Chain(
        certificates=(
            Certificate(1, MASTER, day(0)),
            Certificate(2, WORKING, day(20), rests_on=1),
            Certificate(3, MASTER, day(80)),
        ),
        comparisons=(
            Comparison(10, GAUGE, 1, day(5)),
            Comparison(11, GAUGE, 1, day(15)),
            Comparison(12, ANALYSER, 2, day(25)),
            Comparison(13, ANALYSER, 3, day(85)),
        ),
        uses=(
            Use("analysis", 20, ANALYSER, day(24)),
            Use("analysis", 21, ANALYSER, day(40)),
            Use("analysis", 22, ANALYSER, day(85)),
            Use("analysis", 23, ANALYSER, day(86)),
        ),
    )
    found = reached(chain, Bad(frozenset({MASTER}), None, last_good_on=day(10), found_on=day(80)))
    assert found.certificates == {2}
    assert found.comparisons == {11, 12}
    assert found.uses == {("analysis", 21), ("analysis", 22)}
    assert found.spans == {Span(GAUGE, day(15), None), Span(ANALYSER, day(25), day(85))}


def test_what_was_done_on_the_last_good_day_stands() -> None:
    chain = Chain(
        (Certificate(1, MASTER, day(0)),), (Comparison(10, GAUGE, 1, day(9)), Comparison(11, GAUGE, 1, day(10)))
    )
    found = reached(chain, Bad(frozenset({MASTER}), None, last_good_on=day(9), found_on=day(30)))
    assert found.comparisons == {11}


def test_a_bad_analyser_is_in_doubt_from_the_day_after_its_last_good_one_to_its_next_good_comparison() -> None:
    uses = tuple(Use("analysis", number, ANALYSER, day(number)) for number in (9, 10, 40, 41))
    chain = Chain((), (Comparison(13, ANALYSER, None, day(40)),), uses)
    found = reached(chain, Bad(frozenset(), ANALYSER, last_good_on=day(9), found_on=day(30)))
    assert found.uses == {("analysis", 10), ("analysis", 40)}


def test_a_working_reference_that_is_an_item_of_the_plant_is_doubtful_with_its_comparison() -> None:
    chain = Chain(
        certificates=(Certificate(1, MASTER, day(0)), Certificate(2, WORKING, day(20), equipment=GAUGE)),
        comparisons=(Comparison(10, GAUGE, 1, day(20)), Comparison(11, ANALYSER, 2, day(30))),
    )
    found = reached(chain, Bad(frozenset({MASTER}), None, last_good_on=day(10), found_on=day(80)))
    assert (found.certificates, found.comparisons) == ({2}, {10, 11})


DAYS = st.integers(0, 12).map(day)
SMALL = st.integers(1, 4)


@st.composite
def chains(draw: st.DrawFn) -> tuple[Chain, Bad]:
    certificates = tuple(
        Certificate(
            pk, draw(SMALL), draw(DAYS), draw(st.none() | st.integers(1, 6)), draw(st.none() | st.integers(30, 32))
        )
        for pk in range(1, draw(st.integers(1, 6)) + 1)
    )
    comparisons = tuple(
        Comparison(pk, draw(st.integers(30, 33)), draw(st.none() | st.integers(1, 6)), draw(DAYS), draw(st.booleans()))
        for pk in range(10, 10 + draw(st.integers(0, 7)))
    )
    uses = tuple(Use("analysis", pk, draw(st.integers(30, 33)), draw(DAYS)) for pk in range(draw(st.integers(0, 5))))
    last = draw(st.integers(0, 12))
    bad = Bad(
        draw(st.frozensets(SMALL, max_size=2)), draw(st.none() | st.integers(30, 33)), day(last),
        day(draw(st.integers(last, 13))),
    )  # fmt: skip
    return Chain(certificates, comparisons, uses), bad


class Slowly:
    """The rule once more, one thing at a time until nothing changes."""

    def __init__(self, chain: Chain, bad: Bad) -> None:
        self.chain, self.bad = chain, bad
        self.doubtful: set[int] = set()
        self.compared: set[int] = set()
        for _round in range(20):
            self.doubtful |= {one.pk for one in chain.certificates if self.certificate_doubtful(one)}
            self.compared |= {one.pk for one in chain.comparisons if self.below(one.certificate, one.on)}

    def root(self, pk: int | None) -> bool:
        return any(
            one.pk == pk and one.reference in self.bad.references and one.on < self.bad.found_on
            for one in self.chain.certificates
        )

    def below(self, pk: int | None, on: date) -> bool:
        return pk in self.doubtful or (self.root(pk) and on > self.bad.last_good_on)

    def certificate_doubtful(self, one: Certificate) -> bool:
        own = [c for c in self.chain.comparisons if c.pk in self.compared and c.equipment == one.equipment]
        return not self.root(one.pk) and (self.below(one.rests_on, one.on) or any(c.on == one.on for c in own))

    def good_again(self, equipment: int, since: date) -> date:
        mine = [c for c in self.chain.comparisons if c.equipment == equipment and c.on >= since]
        return min([date.max, *(c.on for c in mine if c.good and c.pk not in self.compared)])

    def used(self, use: Use) -> bool:
        mine = [c for c in self.chain.comparisons if c.pk in self.compared and c.equipment == use.equipment]
        starts = [(c.on, c.on) for c in mine]
        if use.equipment == self.bad.equipment:
            starts.append((self.bad.last_good_on + timedelta(days=1), self.bad.found_on))
        return any(first <= use.on <= self.good_again(use.equipment, since) for first, since in starts)


@given(chains())
def test_the_walk_agrees_with_a_slow_one(case: tuple[Chain, Bad]) -> None:
    found, slow = reached(*case), Slowly(*case)
    assert (found.certificates, found.comparisons) == (slow.doubtful, slow.compared)
    assert {pk for _kind, pk in found.uses} == {use.pk for use in case[0].uses if slow.used(use)}


@given(chains(), st.integers(0, 12))
def test_an_earlier_last_good_day_never_reaches_less(case: tuple[Chain, Bad], earlier: int) -> None:
    chain, bad = case
    longer = Bad(bad.references, None, min(bad.last_good_on, day(earlier)), bad.found_on)
    shorter = Bad(bad.references, None, bad.last_good_on, bad.found_on)
    assert reached(chain, shorter).comparisons <= reached(chain, longer).comparisons
    assert reached(chain, shorter).certificates <= reached(chain, longer).certificates
