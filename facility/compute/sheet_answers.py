"""Judging one answer against its step, and what all answers of a check say together."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from facility.compute.sheet_steps import Effect, Kind, SheetError, Step
from facility.compute.typed import Refusal, TypedError, number

LONGEST_VALUE = 24
MINUS = "\N{MINUS SIGN}"
_WITH_UNIT = re.compile(r"(?P<number>[+-]?[0-9.,]+)\s*(?P<unit>[A-Za-z%°µ].*)?")


def _(text: str) -> str:
    return text


class Outcome(StrEnum):
    """What one answer says."""

    GOOD = "good"
    BAD = "bad"
    UNREAD = "unread"
    NOT_FITTED = "not_fitted"


class Result(StrEnum):
    """What a whole check says."""

    PASSED = "passed"
    LIMITS = "limits"
    UNREAD = "unread"
    FAILED = "failed"


#: the worse of two answers to one step counts; a later place is worse
WORSE = (Outcome.GOOD, Outcome.NOT_FITTED, Outcome.UNREAD, Outcome.BAD)
WORSE_RESULT = (Result.PASSED, Result.LIMITS, Result.UNREAD, Result.FAILED)


class ImplausibleError(SheetError):
    """A reading that no such gauge shows; asked once, then taken as typed."""


@dataclass(frozen=True, slots=True)
class Range:
    """Between which values a reading in one unit is plausible."""

    low: Decimal
    high: Decimal


@dataclass(frozen=True, slots=True)
class Typed:
    """What a person gave: a number as typed, a choice, or a word such as could not read."""

    outcome: str = ""
    value: str = ""
    choice: str = ""
    unit: str = ""
    second_person: str = ""
    sure: bool = False


@dataclass(frozen=True, slots=True)
class Beyond:
    """How far outside its limits a reading is, in the unit of the step."""

    amount: Decimal
    above: bool


@dataclass(frozen=True, slots=True)
class Verdict:
    """A judged answer. ``value`` has a decimal point."""

    outcome: Outcome
    value: str = ""
    unit: str = ""
    choice: str = ""
    beyond: Beyond | None = None


def judge(step: Step, typed: Typed, plausible: Mapping[str, Range]) -> Verdict:
    """Return what an answer to ``step`` says; a limit itself is within the limits.

    Units: the step's own; a number in another unit is refused, never converted.
    Errors: SheetError naming step, value and what to do; ImplausibleError unless ``sure``.
    """
    outcome = _outcome(step, typed.outcome)
    if outcome in (Outcome.UNREAD, Outcome.NOT_FITTED):
        return Verdict(outcome)
    if step.needs_second and not typed.second_person:
        raise SheetError(_("“%(step)s” takes two people. Name the second person."), step=step.text)
    if step.is_reading:
        return _judge_reading(step, typed, plausible)
    if step.kind is Kind.CHOICE:
        return _judge_choice(step, typed.choice)
    if outcome is None:
        raise SheetError(_("“%(step)s” has no answer. Choose In order or Not in order."), step=step.text)
    return Verdict(outcome)


def _outcome(step: Step, text: str) -> Outcome | None:
    if not text:
        return None
    try:
        return Outcome(text)
    except ValueError:
        raise SheetError(
            _("“%(step)s”: “%(value)s” is not an answer. Use one of: %(known)s."),
            step=step.text, value=text, known=", ".join(Outcome),
        ) from None  # fmt: skip


def _judge_choice(step: Step, choice: str) -> Verdict:
    if choice not in step.choices:
        raise SheetError(
            _("“%(step)s”: “%(value)s” is not one of the choices: %(known)s."),
            step=step.text, value=choice, known=", ".join(step.choices),
        )  # fmt: skip
    return Verdict(Outcome.GOOD if choice in step.good else Outcome.BAD, choice=choice)


def _judge_reading(step: Step, typed: Typed, plausible: Mapping[str, Range]) -> Verdict:
    text = _without_unit(step, typed)
    value = _number(step, text)
    allowed = plausible.get(step.unit)
    if allowed and not typed.sure and not allowed.low <= value <= allowed.high:
        raise ImplausibleError(
            _("%(value)s %(unit)s? “%(step)s” is usually between %(low)s and %(high)s %(unit)s. Read it again, or say that it is right."),
            value=text, unit=step.unit, step=step.text, low=allowed.low, high=allowed.high,
        )  # fmt: skip
    shown = text.replace(",", ".").lstrip("+")
    beyond = how_far(step, value)
    return Verdict(Outcome.BAD if beyond else Outcome.GOOD, shown, step.unit, beyond=beyond)


def how_far(step: Step, value: Decimal) -> Beyond | None:
    """Return how far a reading lies outside its limits, None if within; a limit itself is within.

    Units: the step's own.

    >>> how_far(Step("o2", "Oxygen", Kind.READING, "Supply", "bar", low=Decimal("7.5")), Decimal("6.9"))
    Beyond(amount=Decimal('0.6'), above=False)
    """
    if step.low is not None and value < step.low:
        return Beyond(step.low - value, above=False)
    if step.high is not None and value > step.high:
        return Beyond(value - step.high, above=True)
    return None


def _without_unit(step: Step, typed: Typed) -> str:
    """Return the number's text; a unit typed behind it must be the step's own."""
    text, unit = typed.value.strip().replace(MINUS, "-"), typed.unit
    if found := _WITH_UNIT.fullmatch(text):
        text, unit = found["number"], (found["unit"] or unit).strip()
    if unit and unit != step.unit:
        raise SheetError(
            _("“%(step)s” is read in %(unit)s; this says %(other)s. Type what the gauge shows in %(unit)s; nothing is converted."),
            step=step.text, unit=step.unit, other=unit,
        )  # fmt: skip
    return text


def _number(step: Step, text: str) -> Decimal:
    if not text:
        raise SheetError(_("“%(step)s” has no reading. Type it, or choose Could not read."), step=step.text)
    if len(text) > LONGEST_VALUE:
        raise SheetError(
            _("“%(step)s”: “%(value)s” is longer than %(most)s characters. Type the number alone."),
            step=step.text, value=text[:40], most=LONGEST_VALUE,
        )  # fmt: skip
    try:
        return number(text if text.isascii() else "-")
    except TypedError as error:
        sentence = (
            _("“%(step)s”: “%(value)s” has a thousand separator or may be read as one. Type it as 1234 or 1234.5.")
            if error.refusal is Refusal.GROUPED
            else _("“%(step)s”: “%(value)s” is not a number. Type it as 20.9 or 20,9.")
        )
        raise SheetError(sentence, step=step.text, value=text) from None


def worst(outcomes: Iterable[Outcome]) -> Outcome | None:
    """Return the worst of the answers to one step, None if there is none.

    >>> worst([Outcome.GOOD, Outcome.BAD, Outcome.UNREAD])
    <Outcome.BAD: 'bad'>
    """
    return max(outcomes, key=WORSE.index, default=None)


def result_of(steps: Sequence[Step], answers: Iterable[tuple[str, Outcome]]) -> Result:
    """Return what the answers that count (step key, outcome) say together.

    A step unread or unanswered makes the check unread at best; one not fitted is nothing
    to look at. Outside its limits, a step that stops fails the check, one that limits
    limits it, one to watch changes nothing. Of two answers to one step the worse counts.
    Errors: SheetError if an answer is to a step that the sheet does not have.
    """
    given: dict[str, list[Outcome]] = defaultdict(list)
    known = {step.key for step in steps}
    for key, outcome in answers:
        if key not in known:
            raise SheetError(_("This sheet has no step “%(key)s”."), key=key)
        given[key].append(Outcome(outcome))
    if not steps:
        return Result.UNREAD
    said = (_of_answer(step, outcome) for step in steps for outcome in given[step.key] or [Outcome.UNREAD])
    return max(said, key=WORSE_RESULT.index)


def _of_answer(step: Step, outcome: Outcome) -> Result:
    if outcome is Outcome.UNREAD:
        return Result.UNREAD
    if outcome is not Outcome.BAD or step.effect is Effect.WATCH:
        return Result.PASSED
    return Result.FAILED if step.effect is Effect.STOPS else Result.LIMITS
