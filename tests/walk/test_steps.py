"""Reading the steps of a sheet, and what one version changed against another."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from facility.compute import sheets
from facility.compute.limit_rule import limit_rule
from facility.compute.sheets import (
    Kind,
    Range,
    SheetError,
    Step,
    Typed,
    differences,
    groups_of,
    how_far,
    judge,
    parse_steps,
    plain_step,
)
from facility.models import CheckResult, Outcome
from facility.walk.reference import default_sheets, plausible_ranges
from tests import make

LOOK: dict[str, Any] = {"key": "door", "group": "Doors", "kind": "look", "text": "Seal sound"}
READING = LOOK | {"key": "bank", "kind": "reading", "unit": "bar"}
CHOICE = LOOK | {"key": "place", "kind": "choice", "choices": ["clear", "found"], "good": ["clear"]}


def test_a_sheet_is_read_in_walking_order() -> None:
    steps = parse_steps(make.STEPS)
    assert [step.key for step in steps] == ["door", "supply", "speech", "place"]
    assert [(group.place, group.name, len(group.steps)) for group in groups_of(steps)] == [
        (1, "Doors", 2),
        (2, "Inside", 2),
    ]
    assert (steps[1].low, steps[1].high) == (Decimal("7.5"), Decimal("9.0"))


@pytest.mark.parametrize(
    ("steps", "says"),
    [
        ([], "at least one step"),
        ("door", "at least one step"),
        ([LOOK, LOOK], "Two steps have the key “door”"),
        ([LOOK | {"key": "Door 1"}], "the key “Door 1”"),
        ([LOOK | {"group": " "}], "group is empty"),
        ([LOOK | {"kind": "tick"}], "kind is “tick”. Use one of: look, reading, two_person, choice"),
        ([LOOK | {"effect": "maybe"}], "effect is “maybe”. Use one of: stops, limits, watch"),
        ([LOOK | {"colour": "red"}], "unknown field “colour”"),
        ([LOOK | {"unit": "bar"}], "is not a reading"),
        ([LOOK | {"choices": ["a", "b"]}], "is not a choice"),
        ([READING | {"unit": ""}], "a reading without a unit"),
        ([READING | {"low": "9", "high": "7"}], "the lower limit 9 lies above the upper limit 7"),
        ([READING | {"low": "1,234"}], "the limit low is “1,234”"),
        ([READING | {"low": 7.5}], "the limit low is “7.5”. Write a number as text"),
        ([READING | {"bank": "oxygen-1", "unit": "%"}], "A bank is read in one of"),
        ([CHOICE | {"good": ["clear", "found"]}], "two choices or more"),
        ([CHOICE | {"good": ["nothing"]}], "two choices or more"),
        ([CHOICE | {"choices": ["clear"]}], "two choices or more"),
        ([LOOK | {"two_person": "yes"}], "two_person must be yes or no"),
        ([LOOK, LOOK | {"key": "b", "group": "B"}, LOOK | {"key": "c"}], "goes back to the group “Doors”"),
        ([LOOK | {"key": f"s{n}"} for n in range(201)], "201 steps are too many"),
        (["door"], "Step 1 is not an object"),
    ],
)  # fmt: skip
def test_an_unclear_sheet_is_refused_by_name(steps: object, says: str) -> None:
    with pytest.raises(SheetError, match=None) as refused:
        parse_steps(steps)
    assert says in str(refused.value)


TEXTS = st.text(alphabet="abc xyz", min_size=1, max_size=8).filter(str.strip)
BOUNDS = st.one_of(st.none(), st.decimals(-1000, 1000, places=2))


@given(st.lists(st.tuples(TEXTS, BOUNDS, BOUNDS), min_size=1, max_size=12))
def test_a_step_written_out_is_read_back_the_same(drawn: list[tuple[str, Decimal | None, Decimal | None]]) -> None:
    steps = tuple(
        Step(f"s-{place}", "One", Kind.READING, text.strip(), "bar", *_in_order(low, high))
        for place, (text, low, high) in enumerate(drawn)
    )
    assert parse_steps([plain_step(step) for step in steps]) == steps
    assert differences(steps, steps) == ()


def _in_order(low: Decimal | None, high: Decimal | None) -> tuple[Decimal | None, Decimal | None]:
    return (high, low) if low is not None and high is not None and low > high else (low, high)


@given(st.decimals(-500, 500, places=3), st.decimals(-500, 500, places=3), st.decimals(0, 500, places=3))
def test_a_reading_is_good_exactly_between_its_limits_and_on_them(value: Decimal, low: Decimal, width: Decimal) -> None:
    step = Step("s", "g", Kind.READING, "t", "bar", low=low, high=low + width)
    verdict = judge(step, Typed(value=f"{value:f}"), {"bar": Range(Decimal(-1000), Decimal(1500))})
    assert (verdict.outcome == "good") is (low <= value <= low + width)
    beyond = how_far(step, value)
    edge = low if value < low else low + width
    assert (beyond.amount if beyond else Decimal(0)) == (abs(value - edge) if verdict.outcome == "bad" else 0)


@given(
    st.decimals(-500, 500, places=2),
    st.decimals(-500, 500, places=2),
    st.decimals("0.01", 500, places=2),
    st.decimals(-900, 900, places=2),
)
def test_the_picture_says_the_same_as_the_judgement(a: Decimal, low: Decimal, width: Decimal, b: Decimal) -> None:
    rule = limit_rule(low, low + width, a, b)
    assert rule is not None
    assert rule.last is not None
    assert rule.now is not None
    assert rule.low == 30
    assert rule.high == 70
    for value, place in ((a, rule.last), (b, rule.now)):
        assert 4 <= place <= 96
        if low <= value <= low + width:
            assert 30 <= place <= 70
        elif value < low:
            assert place <= 30
        else:
            assert place >= 70


def test_no_limits_no_picture() -> None:
    assert limit_rule(None, None, Decimal(1), Decimal(2)) is None


def test_differences_name_what_was_added_removed_moved_and_changed() -> None:
    old = parse_steps([LOOK, READING | {"low": "60"}, CHOICE])
    new = parse_steps([CHOICE, READING | {"low": "80"}, LOOK | {"key": "seal"}])
    told = {(change.key, change.what, change.field, change.old, change.new) for change in differences(old, new)}
    assert ("door", "removed", "", "Seal sound", "") in told
    assert ("seal", "added", "", "", "Seal sound") in told
    assert ("bank", "changed", "low", "60", "80") in told
    assert {what for _key, what, *_rest in told} == {"removed", "added", "changed", "moved"}


def test_the_words_of_the_computation_are_those_of_the_records() -> None:
    assert {outcome.value for outcome in sheets.Outcome} == set(Outcome.values)
    assert {result.value for result in sheets.Result} == set(CheckResult.values)


def test_each_reference_sheet_can_be_walked_and_traced() -> None:
    """Groups of 5 to 9: flight-deck study of checklists, from memory (Degani and Wiener 1990)."""
    found = default_sheets()
    assert list(found) == ["daily", "before-run", "after-run"]
    for sheet in found.values():
        for group in groups_of(sheet.steps):
            assert 5 <= len(group.steps) <= 9, (sheet.key, group.name)
        for step in sheet.steps:
            assert not step.has_limits or (step.source and step.standing), (sheet.key, step.key)
            assert bool(step.source) is bool(step.standing)
            assert not step.is_reading or step.unit in plausible_ranges(), step.unit


def test_limits_shipped_are_those_of_the_handbook() -> None:
    """U.S. Navy Diving Manual, revision 4 with change A: chamber oxygen 19 to 25 % (page 21-23), carbon dioxide
    at most 1.5 % surface equivalent; 46 CFR 197.458(b): depth gauges that differ by more than 2 % of full scale."""
    steps = {step.key: step for sheet in default_sheets().values() for step in sheet.steps}
    assert (steps["oxygen-inside"].low, steps["oxygen-inside"].high) == (Decimal(19), Decimal(25))
    assert (steps["alarm-oxygen-low"].low, steps["alarm-oxygen-high"].high) == (Decimal(19), Decimal(25))
    assert steps["alarm-carbon-dioxide"].high == Decimal("1.5")
    assert steps["gauge-gap"].high == 2
