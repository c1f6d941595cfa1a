"""What a check sheet asks: its steps, read from stored data and refused where they are not clear.

A sentence marked with ``_`` is translated where it is shown; here it stays as written.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from decimal import Decimal
from enum import StrEnum
from typing import Any, TypeVar

from facility.compute.typed import TypedError, number

SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
MOST_STEPS = 200
LONGEST_KEY, LONGEST_UNIT, LONGEST_CHOICE, LONGEST_TEXT = 60, 12, 60, 300
MOST_CHOICES = 8
Word = TypeVar("Word", bound=StrEnum)
BANK_UNITS = frozenset({"fsw", "msw", "bar", "kPa", "MPa", "psi"})


def _(text: str) -> str:
    return text


class Kind(StrEnum):
    """How a step is answered."""

    LOOK = "look"
    READING = "reading"
    TWO_PERSON = "two_person"
    CHOICE = "choice"


class Effect(StrEnum):
    """What a step outside its limits does to the check."""

    STOPS = "stops"
    LIMITS = "limits"
    WATCH = "watch"


class SheetError(ValueError):
    """A step or an answer that cannot be taken, in a sentence with its values beside it."""

    def __init__(self, sentence: str, **values: object) -> None:
        super().__init__(sentence % values)
        self.sentence = sentence
        self.values = values


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to look at or to read. ``low`` and ``high`` None: the site has set none.

    ``critical``: looked at first, in the short check of a call-out.
    """

    key: str
    group: str
    kind: Kind
    text: str
    unit: str = ""
    low: Decimal | None = None
    high: Decimal | None = None
    choices: tuple[str, ...] = ()
    good: tuple[str, ...] = ()
    effect: Effect = Effect.STOPS
    tag: str = ""
    bank: str = ""
    two_person: bool = False
    setpoint: bool = False
    critical: bool = False
    hint: str = ""
    source: str = ""
    standing: str = ""

    @property
    def needs_second(self) -> bool:
        """Whether a second person has to be named."""
        return self.two_person or self.kind is Kind.TWO_PERSON

    @property
    def is_reading(self) -> bool:
        """Whether it is answered with a number."""
        return self.kind is Kind.READING

    @property
    def has_limits(self) -> bool:
        """Whether a reading can be judged."""
        return self.low is not None or self.high is not None


FIELDS = tuple(field.name for field in fields(Step))


def parse_steps(raw: object) -> tuple[Step, ...]:
    """Return the steps of a stored list, in walking order.

    Errors: SheetError naming the step, the value and what is allowed.

    >>> [step.text for step in parse_steps([{"key": "door", "group": "Doors", "kind": "look", "text": "Seal sound"}])]
    ['Seal sound']
    """
    if not isinstance(raw, list) or not raw:
        raise SheetError(_("A sheet needs at least one step. Add a step."))
    if len(raw) > MOST_STEPS:
        raise SheetError(
            _("%(count)s steps are too many: at most %(most)s. Split the sheet."), count=len(raw), most=MOST_STEPS
        )
    steps = tuple(_step(place, entry) for place, entry in enumerate(raw, 1))
    _refuse_repeated(steps)
    return steps


def _refuse_repeated(steps: Sequence[Step]) -> None:
    keys: set[str] = set()
    left: set[str] = set()
    here = ""
    for step in steps:
        if step.key in keys:
            raise SheetError(_("Two steps have the key “%(key)s”. Give each its own."), key=step.key)
        keys.add(step.key)
        if step.group != here:
            left.add(here)
            here = step.group
        if step.group in left:
            raise SheetError(
                _("Step “%(key)s” goes back to the group “%(group)s”. Keep the steps of a group together, in walking order."),
                key=step.key, group=step.group,
            )  # fmt: skip


def _step(place: int, entry: object) -> Step:
    if not isinstance(entry, Mapping):
        raise SheetError(_("Step %(place)s is not an object with key, group, kind and text."), place=place)
    unknown = sorted(str(name) for name in entry if name not in FIELDS)
    if unknown:
        raise SheetError(
            _("Step %(place)s has the unknown field “%(name)s”. Use: %(known)s."),
            place=place, name=unknown[0], known=", ".join(FIELDS),
        )  # fmt: skip
    name = str(entry.get("key") or place)
    texts = {
        field: _text(name, field, entry.get(field, ""))
        for field in ("group", "text", "unit", "tag", "bank", "hint", "source", "standing")
    }
    step = Step(
        key=_key(name, entry.get("key", "")),
        kind=_one_of(name, "kind", entry.get("kind", ""), Kind),
        effect=_one_of(name, "effect", entry.get("effect") or Effect.STOPS.value, Effect),
        low=_limit(name, "low", entry.get("low", "")),
        high=_limit(name, "high", entry.get("high", "")),
        choices=_list(name, "choices", entry.get("choices", [])),
        good=_list(name, "good", entry.get("good", [])),
        two_person=_truth(name, "two_person", entry.get("two_person", False)),
        setpoint=_truth(name, "setpoint", entry.get("setpoint", False)),
        critical=_truth(name, "critical", entry.get("critical", False)),
        **texts,
    )
    _refuse_unclear(step)
    return step


def _key(name: str, value: object) -> str:
    if not isinstance(value, str) or not SLUG.fullmatch(value) or len(value) > LONGEST_KEY:
        raise SheetError(
            _("Step %(name)s: the key “%(value)s” must be small letters, digits and single hyphens, at most %(most)s, such as air-bank-1."),
            name=name, value=value, most=LONGEST_KEY,
        )  # fmt: skip
    return value


def _text(name: str, field: str, value: object) -> str:
    most = LONGEST_UNIT if field == "unit" else LONGEST_TEXT
    if not isinstance(value, str) or len(value) > most:
        raise SheetError(
            _("Step %(name)s: %(field)s must be a text of at most %(most)s characters."),
            name=name,
            field=field,
            most=most,
        )
    if not value.strip() and field in ("group", "text"):
        raise SheetError(_("Step %(name)s: %(field)s is empty. Write it."), name=name, field=field)
    return value.strip()


def _one_of(name: str, field: str, value: object, allowed: type[Word]) -> Word:
    try:
        return allowed(str(value))
    except ValueError:
        raise SheetError(
            _("Step %(name)s: %(field)s is “%(value)s”. Use one of: %(known)s."),
            name=name, field=field, value=value, known=", ".join(allowed),
        ) from None  # fmt: skip


def _limit(name: str, field: str, value: object) -> Decimal | None:
    if value in ("", None):
        return None
    try:
        return number(value if isinstance(value, str) else "not a text")
    except TypedError:
        raise SheetError(
            _("Step %(name)s: the limit %(field)s is “%(value)s”. Write a number as text, such as 20.7, or leave it empty."),
            name=name, field=field, value=value,
        ) from None  # fmt: skip


def _list(name: str, field: str, value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(item, str) and item.strip() for item in value):
        raise SheetError(_("Step %(name)s: %(field)s must be a list of words."), name=name, field=field)
    if any(len(item) > LONGEST_CHOICE for item in value) or len(set(value)) != len(value) or len(value) > MOST_CHOICES:
        raise SheetError(
            _("Step %(name)s: %(field)s must hold at most %(count)s different choices of at most %(most)s characters."),
            name=name, field=field, count=MOST_CHOICES, most=LONGEST_CHOICE,
        )  # fmt: skip
    return tuple(item.strip() for item in value)


def _truth(name: str, field: str, value: object) -> bool:
    if not isinstance(value, bool):
        raise SheetError(_("Step %(name)s: %(field)s must be yes or no."), name=name, field=field)
    return value


def _refuse_unclear(step: Step) -> None:
    if step.is_reading:
        _refuse_unclear_reading(step)
    elif step.unit or step.has_limits or step.bank or step.setpoint:
        raise SheetError(
            _("Step %(name)s is not a reading: unit, limits, gas bank and set-point must stay empty."), name=step.key
        )
    if step.kind is not Kind.CHOICE:
        if step.choices or step.good:
            raise SheetError(_("Step %(name)s is not a choice: the lists of choices must stay empty."), name=step.key)
        return
    if len(step.choices) < 2 or not step.good or not set(step.good) < set(step.choices):  # noqa: PLR2004  # a choice is between two
        raise SheetError(
            _("Step %(name)s: give two choices or more, and name which of them, but not all, are good."), name=step.key
        )


def _refuse_unclear_reading(step: Step) -> None:
    if not step.unit:
        raise SheetError(
            _("Step %(name)s is a reading without a unit. Write the unit printed on the gauge."), name=step.key
        )
    if step.low is not None and step.high is not None and step.low > step.high:
        raise SheetError(
            _("Step %(name)s: the lower limit %(low)s lies above the upper limit %(high)s. Exchange them."),
            name=step.key, low=step.low, high=step.high,
        )  # fmt: skip
    if step.bank and step.unit not in BANK_UNITS:
        raise SheetError(
            _("Step %(name)s reads the gas bank “%(bank)s” in %(unit)s. A bank is read in one of: %(known)s."),
            name=step.key, bank=step.bank, unit=step.unit, known=", ".join(sorted(BANK_UNITS)),
        )  # fmt: skip


def plain_step(step: Step) -> dict[str, Any]:
    """Return a step as the plain object that is stored; empty fields are left out.

    >>> plain_step(Step("door", "Doors", Kind.LOOK, "Seal sound"))
    {'key': 'door', 'group': 'Doors', 'kind': 'look', 'text': 'Seal sound', 'effect': 'stops'}
    """
    plain: dict[str, Any] = {}
    for name in FIELDS:
        value = getattr(step, name)
        if value is None or value is False or value in ("", ()):
            continue
        if isinstance(value, Decimal):
            value = f"{value:f}"
        elif isinstance(value, tuple):
            value = list(value)
        elif isinstance(value, StrEnum):
            value = value.value
        plain[name] = value
    return plain
