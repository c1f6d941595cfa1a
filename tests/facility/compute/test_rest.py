"""Rest by the roster: worked by hand, and it never makes a crew better."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from facility.compute.facts import CREW, Facility, Span
from facility.compute.facts_json import facility_of
from facility.compute.instants import parse_instant
from facility.compute.readiness import evaluate
from facility.compute.rest import RestRules, unrested
from tests.strategies import facts

HOUR = 60
WORSE = ["holds", "limits", "not known", "stops"]


def test_nothing_is_asked_by_default() -> None:
    assert unrested([Span(0, 10_000), Span(10_001, 20_000)], RestRules()) == ()


def test_rest_is_counted_between_the_end_of_one_duty_and_the_begin_of_the_next() -> None:
    """By hand: off at 16:00, on at 02:00 is 10 h of rest; 11 h are asked for, 10 h are just enough."""
    duty = [Span(8 * HOUR, 16 * HOUR), Span(26 * HOUR, 34 * HOUR)]
    assert unrested(duty, RestRules(least_rest_min=11 * HOUR)) == (Span(26 * HOUR, 34 * HOUR),)
    assert unrested(duty, RestRules(least_rest_min=10 * HOUR)) == ()


def test_duty_that_touches_or_overlaps_is_one_duty() -> None:
    duty = [Span(6 * HOUR, 12 * HOUR), Span(0, 6 * HOUR), Span(10 * HOUR, 18 * HOUR)]
    assert unrested(duty, RestRules(longest_duty_min=12 * HOUR)) == (Span(12 * HOUR, 18 * HOUR),)


def tired(facility: Facility, rules: RestRules) -> Facility:
    """The facility whose people must rest by these rules."""
    people = {
        name: replace(one, waits=tuple(sorted((*one.waits, *unrested(one.duty, rules)), key=lambda span: span.from_)))
        for name, one in facility.people.items()
    }
    return replace(facility, people=people)


@given(facts(), st.integers(0, 1440), st.integers(0, 1440))
def test_asking_for_rest_never_improves_a_crew(asked: tuple[dict[str, Any], str], least: int, longest: int) -> None:
    facility, at = facility_of(asked[0]), parse_instant(asked[1])
    before, after = evaluate(facility, at), evaluate(tired(facility, RestRules(least, longest)), at)
    for name, found in before.items():
        if CREW in found.findings:
            assert WORSE.index(after[name].findings[CREW].state) >= WORSE.index(found.findings[CREW].state)
