"""What codes ask for: the file as shipped, what is offered, conflicts on both sides, refusals by name."""

from __future__ import annotations

import pytest

from facility.compute.reference import UnsourcedError
from maintenance.compute.requirements import (
    IntervalKind,
    conflicts,
    jurisdictions_of,
    offered,
    parse_requirements,
    types_of,
)
from maintenance.reference import requirements

RULES = {rule.key: rule for rule in requirements()}
GOOD = """
[A]
what = "look"
subject = "chamber"
interval = { kind = "calendar", months = 6 }
acceptance = "good"
who = "crew"
evidence = "log"
effect = "stops"
source = "s"
where = "w"
standing = "memory"
"""


@pytest.mark.parametrize(
    ("key", "months"),
    [("P1", 24), ("P2", 36), ("G1", 6), ("G3", 3), ("G12", 24), ("G13", 12), ("M1", 4), ("I1", 6), ("G14", 60)],
)
def test_intervals_are_those_of_the_codes(key: str, months: int) -> None:
    """Navy manual 22-6.2, 21-9.3; 46 CFR 197.462, .456, .458; 29 CFR 1910.430; EN 12021; 49 CFR 180.209."""
    assert RULES[key].interval.months == months


def test_windows_deferrals_and_lives_are_those_of_the_codes() -> None:
    """Navy manual 4-4: 4 to 8 months; UFC 3-430-07: 6, 3 and 12 years; viewports 10 years or 10 000 cycles; IMO: 3 months."""
    assert (RULES["G2"].interval.earliest, RULES["G2"].interval.latest) == (4, 8)
    hydro = RULES["P5b"].interval
    assert (hydro.months, hydro.deferrable, hydro.hard_stop) == (72, 36, 144)
    assert (RULES["P8"].interval.months, RULES["P8"].interval.counts) == (120, 10_000)
    assert RULES["P18"].interval.plus_minus == 3


def test_conflicts_stand_side_by_side() -> None:
    """Two against three years of the leak test; three against six months of the air; 25 against 23.5 % oxygen."""
    pairs = {(one.key, other.key) for one, other in conflicts(requirements())}
    assert {("P1", "P2"), ("G1", "G3"), ("F7", "F7b"), ("G12", "G13"), ("P8", "P8b")} <= pairs
    assert all(one < other for one, other in pairs)


def test_rules_are_offered_by_type_and_jurisdiction() -> None:
    keys = {rule.key for rule in offered(requirements(), frozenset({"multiplace"}), frozenset({"Europe"}))}
    assert {"G3", "S3", "P4", "P7"} <= keys
    assert not {"P1", "P2", "F2"} & keys


def test_every_named_type_and_jurisdiction_can_be_chosen() -> None:
    assert types_of(requirements()) == ("medical", "multiplace")
    assert {"US", "US Navy", "Europe", "UK", "offshore"} <= set(jurisdictions_of(requirements()))
    everything = offered(
        requirements(), frozenset(types_of(requirements())), frozenset(jurisdictions_of(requirements()))
    )
    assert everything == requirements()


def test_what_is_from_memory_is_unconfirmed() -> None:
    assert not RULES["F2"].confirmed
    assert RULES["P1"].confirmed


def test_a_good_rule_is_read_with_its_defaults() -> None:
    (rule,) = parse_requirements(GOOD, {"s": 0})
    assert (rule.interval.kind, rule.chamber_types, rule.triggers) == (IntervalKind.CALENDAR, ("any",), ())


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('who = "crew"', "", "A: who missing"),
        ('source = "s"', 'source = "t"', "'t' is not in sources"),
        ('effect = "stops"', 'effect = "blocks"', "blocks"),
        ('standing = "memory"', 'standing = "hearsay"', "hearsay"),
        ("months = 6", "months = 0", "whole numbers above 0"),
        (", months = 6", "", "needs months"),
        ("months = 6", "weeks = 6", "weeks"),
        ('kind = "calendar"', 'kind = "often"', "often"),
        ('kind = "calendar", ', "", "kind"),
        ('where = "w"', 'where = "w"\nconflicts_with = ["B"]', "conflict with 'B'"),
    ],
)
def test_a_rule_that_nobody_could_check_is_refused_by_its_key(old: str, new: str, words: str) -> None:
    with pytest.raises(UnsourcedError, match=words):
        parse_requirements(GOOD.replace(old, new), {"s": 0})


def test_a_conflict_told_on_one_side_only_is_refused() -> None:
    other = GOOD.replace("[A]", "[B]")
    one = GOOD.replace('where = "w"', 'where = "w"\nconflicts_with = ["B"]')
    with pytest.raises(UnsourcedError, match="both sides"):
        parse_requirements(one + other, {"s": 0})
