"""One answer against its step, and what all answers say together."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from facility.compute.sheets import (
    Effect,
    ImplausibleError,
    Kind,
    Outcome,
    Range,
    Result,
    SheetError,
    Step,
    Typed,
    judge,
    result_of,
)

PLAUSIBLE = {"bar": Range(Decimal(0), Decimal(450))}
SUPPLY = Step("supply", "Oxygen", Kind.READING, "Supply", "bar", low=Decimal("7.5"), high=Decimal("9.0"))
LOOK = Step("door", "Doors", Kind.LOOK, "Seal")
SPEECH = Step("speech", "Inside", Kind.TWO_PERSON, "Speech")
PLACE = Step("place", "Inside", Kind.CHOICE, "Place", choices=("clear", "found"), good=("clear",))


def reading(text: str, **more: object) -> Typed:
    return Typed(value=text, **more)  # type: ignore[arg-type]  # keywords of the test


@pytest.mark.parametrize(
    ("text", "outcome", "stored"),
    [
        ("7.5", "good", "7.5"), ("9.0", "good", "9.0"), ("9,0", "good", "9.0"), ("8,25", "good", "8.25"),
        ("7.49", "bad", "7.49"), ("9.01", "bad", "9.01"), (" 8.3 bar ", "good", "8.3"), ("8.3bar", "good", "8.3"),
        ("+8.0", "good", "8.0"), ("0,125", "bad", "0.125"),
    ],
)  # fmt: skip
def test_a_limit_itself_is_within_and_a_decimal_comma_is_a_decimal_comma(text: str, outcome: str, stored: str) -> None:
    verdict = judge(SUPPLY, reading(text), PLAUSIBLE)
    assert (verdict.outcome, verdict.value, verdict.unit) == (outcome, stored, "bar")


@pytest.mark.parametrize("text", ["1,234", "1.234.567", "1 234", "1'234", "12,345.6", "1,234,567"])
def test_a_thousand_separator_or_what_may_be_one_is_refused(text: str) -> None:
    with pytest.raises(SheetError, match="thousand separator|not a number"):
        judge(SUPPLY, reading(text), PLAUSIBLE)


@pytest.mark.parametrize(
    "text", ["", "abc", "1e3", "NaN", "Infinity", "--5", "8.", ".", "٨", "1" * 30, "8.3.1", "0x10", "½"]
)
def test_what_is_not_a_plain_number_is_refused_and_named(text: str) -> None:
    with pytest.raises(SheetError) as refused:
        judge(SUPPLY, reading(text), PLAUSIBLE)
    assert "Supply" in str(refused.value)


@pytest.mark.parametrize(
    "typed", [reading("8.3 psi"), reading("8.3", unit="psi"), reading("830kPa"), reading("8.3 BAR")]
)
def test_another_unit_is_refused_and_nothing_is_converted(typed: Typed) -> None:
    with pytest.raises(SheetError, match="is read in bar"):
        judge(SUPPLY, typed, PLAUSIBLE)


def test_3000_bar_is_asked_once_and_then_taken_as_typed() -> None:
    with pytest.raises(ImplausibleError, match="3000 bar.*between 0 and 450 bar"):
        judge(SUPPLY, reading("3000"), PLAUSIBLE)
    verdict = judge(SUPPLY, reading("3000", sure=True), PLAUSIBLE)
    assert verdict.outcome is Outcome.BAD
    assert verdict.beyond is not None
    assert (verdict.beyond.amount, verdict.beyond.above) == (Decimal("2991.0"), True)


def test_a_reading_without_limits_counts_as_read() -> None:
    step = Step("level", "Fire", Kind.READING, "Level", "%")
    assert judge(step, reading("3"), {}).outcome is Outcome.GOOD


@pytest.mark.parametrize("step", [SPEECH, Step("a", "b", Kind.READING, "c", "bar", two_person=True)])
def test_two_people_means_two(step: Step) -> None:
    with pytest.raises(SheetError, match="Name the second person"):
        judge(step, Typed("good", "8"), PLAUSIBLE)
    assert judge(step, Typed("good", "8", second_person="K. L."), PLAUSIBLE).outcome is Outcome.GOOD
    assert judge(step, Typed("unread"), PLAUSIBLE).outcome is Outcome.UNREAD


def test_a_look_without_an_answer_and_a_choice_that_is_none_are_refused() -> None:
    with pytest.raises(SheetError, match="In order or Not in order"):
        judge(LOOK, Typed(), {})
    with pytest.raises(SheetError, match="“fine” is not an answer"):
        judge(LOOK, Typed("fine"), {})
    with pytest.raises(SheetError, match="not one of the choices: clear, found"):
        judge(PLACE, Typed("good", choice="perhaps"), {})
    assert judge(PLACE, Typed("good", choice="found"), {}).outcome is Outcome.BAD


OUTCOMES = st.sampled_from(Outcome)
STEPS = tuple(Step(f"s{n}", "g", Kind.LOOK, "t", effect=effect) for n, effect in enumerate(Effect))
ANSWERS = st.lists(st.tuples(st.sampled_from([step.key for step in STEPS]), OUTCOMES), max_size=8)


@given(ANSWERS, st.sampled_from([step.key for step in STEPS]), OUTCOMES)
def test_a_further_answer_never_makes_an_answered_step_better(
    answers: list[tuple[str, Outcome]], key: str, outcome: Outcome
) -> None:
    severity = {Result.PASSED: 0, Result.LIMITS: 1, Result.UNREAD: 2, Result.FAILED: 3}
    before, after = result_of(STEPS, answers), result_of(STEPS, [*answers, (key, outcome)])
    if any(given_key == key for given_key, _ in answers):
        assert severity[after] >= severity[before]


@given(ANSWERS)
def test_an_unanswered_or_unread_step_is_never_a_pass(answers: list[tuple[str, Outcome]]) -> None:
    answered = {key for key, _ in answers}
    unread = any(outcome is Outcome.UNREAD for _key, outcome in answers)
    if len(answered) < len(STEPS) or unread:
        assert result_of(STEPS, answers) in (Result.UNREAD, Result.FAILED)


@given(st.permutations(list(range(6))))
def test_the_order_of_answers_does_not_matter(order: list[int]) -> None:
    answers = [
        ("s0", Outcome.GOOD),
        ("s1", Outcome.BAD),
        ("s2", Outcome.BAD),
        ("s0", Outcome.NOT_FITTED),
        ("s1", Outcome.GOOD),
        ("s2", Outcome.GOOD),
    ]
    assert result_of(STEPS, [answers[place] for place in order]) is Result.LIMITS


@pytest.mark.parametrize(
    ("effect", "result"), [(Effect.STOPS, Result.FAILED), (Effect.LIMITS, Result.LIMITS), (Effect.WATCH, Result.PASSED)]
)
def test_what_is_outside_its_limits_does_what_the_sheet_says(effect: Effect, result: Result) -> None:
    step = Step("a", "g", Kind.LOOK, "t", effect=effect)
    assert result_of([step], [("a", Outcome.BAD)]) is result


def test_not_fitted_is_nothing_to_look_at() -> None:
    assert result_of([LOOK], [("door", Outcome.NOT_FITTED)]) is Result.PASSED


def test_nothing_looked_at_is_no_pass_and_a_strange_answer_is_refused() -> None:
    assert result_of([], []) is Result.UNREAD
    with pytest.raises(SheetError, match="no step “window”"):
        result_of([LOOK], [("window", Outcome.GOOD)])
