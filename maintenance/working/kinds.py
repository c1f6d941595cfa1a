"""What a sort of work asks for: readings with limits, looks, details, and a sum. Plain data; the form is built from it."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from facility.compute.units import kpa_from, pressure_to
from facility.reference import load, sources, units
from maintenance.compute.readings import Outcome
from maintenance.reference import FOLDER

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date

    from django.utils.functional import _StrPromise

    from facility.compute.reference import Sourced
    from maintenance.compute.counters import Reading as Count

    Words = str | _StrPromise

PRESSURES = ("bar", "kPa", "psi", "fsw", "msw")
FLOWS = ("L/min", "gal/min")
CAUTION = _(
    "The maker's paper, the item's own certificate, the construction code and the authority prevail. Work on pressure"
    " vessels, oxygen and fire systems only if you are licensed or competent for it where your code asks so."
)


def value(file: str, name: str) -> Sourced:
    """Return one sourced value of this part's reference files."""
    return load(FOLDER / file)[name]


def told(words: Words, file: str, **names: str) -> Words:
    """Return words with sourced values in them: each name in braces stands for a value of the file."""
    return format_lazy(words, **{key: str(value(file, name).value) for key, name in names.items()})


def source_text(one: Sourced) -> str:
    """Return where a value comes from, in words, with "unconfirmed" where it is from memory."""
    words = f"{sources()[one.source]['title']}, {one.where}"
    return words if one.confirmed else str(_("%(source)s (unconfirmed)")) % {"source": words}


class WorkError(ValueError):
    """Answers from which a sum cannot be made: the field, and what to do."""

    def __init__(self, name: str, words: Words) -> None:
        super().__init__(str(words))
        self.name, self.words = name, words


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit that a reading has where none is typed: its value and unit, and where it comes from."""

    value: Decimal
    unit: str
    source: str

    @classmethod
    def of(cls, name: str, file: str = "work_tests.toml") -> Limit:
        """Return the limit of a sourced value."""
        one = value(file, name)
        return cls(one.number, "" if one.unit == "1" else one.unit, source_text(one))

    def within(self, unit: str) -> Decimal:
        """Return it in the unit that was typed. Errors: WorkError if it cannot be converted."""
        if unit == self.unit:
            return self.value
        if unit in PRESSURES and self.unit in PRESSURES:
            return pressure_to(kpa_from(self.value, self.unit, units()), unit, units())
        if unit in FLOWS and self.unit in FLOWS:
            return litres_a_minute(self.value, self.unit) / litres_a_minute(1, unit)
        raise WorkError(
            "", _("A limit in %(one)s cannot be held against %(other)s.") % {"one": self.unit, "other": unit}
        )


def litres_a_minute(flow: Decimal | int, unit: str) -> Decimal:
    """Return a flow in L/min. Units: ``unit`` L/min or US gal/min."""
    return Decimal(flow) * (value("work_tests.toml", "flow.us_gallon").number if unit == "gal/min" else 1)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A reading: what is read, in which unit, between which limits.

    ``limits``: limits may be typed beside it. ``house_low``: the house rule that is its lower limit where none is typed.
    """

    name: str
    label: Words
    units: tuple[str, ...]
    low: Limit | None = None
    high: Limit | None = None
    needed: bool = True
    limits: bool = True
    house_low: str = ""
    about: Words = ""


@dataclass(frozen=True, slots=True)
class Look:
    """Something looked at: good, not good, or could not be looked at."""

    name: str
    label: Words
    about: Words = ""


@dataclass(frozen=True, slots=True)
class Detail:
    """Something stated: ``sort`` is text, lines, number, day, choice or yes (a box to tick).

    ``carry``: what the last record of the item said is offered again, since it seldom changes.
    """

    name: str
    label: Words
    sort: str = "text"
    choices: tuple[tuple[str, Words], ...] = ()
    needed: bool = False
    unit: Words = ""
    about: Words = ""
    carry: bool = False


@dataclass(frozen=True, slots=True)
class Answered:
    """What was typed, for a sum: readings {name: (value, unit)}, details {name: value}, counts oldest first.

    ``unlimited``: names of the readings that have no limit.
    """

    readings: dict[str, tuple[Decimal | None, str]]
    details: dict[str, Any]
    done_on: date
    month_only: bool = False
    counts: Sequence[Count] = ()
    unlimited: frozenset[str] = frozenset()

    def number(self, name: str) -> Decimal | None:
        """Return a reading's or a detail's number, or None."""
        if name in self.readings:
            return self.readings[name][0]
        return self.details.get(name)

    def unit(self, name: str) -> str:
        """Return the unit that a reading was typed in."""
        return self.readings[name][1]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a sum: what, how much, in which unit."""

    label: str
    value: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Derived:
    """A value that follows from the readings and is judged like one of them."""

    name: str
    label: str
    value: Decimal | None
    unit: str
    low: Decimal | None = None
    high: Decimal | None = None
    source: str = ""
    outcome: Outcome | None = None


@dataclass(frozen=True, slots=True)
class Sum:
    """What came of the computation, with its formula and the values it rests on; ``due_on`` where it gives one."""

    formula: str
    lines: tuple[Line, ...] = ()
    derived: tuple[Derived, ...] = ()
    rests_on: tuple[Sourced, ...] = ()
    remarks: tuple[str, ...] = ()
    due_on: date | None = None

    def plain(self) -> dict[str, Any]:
        """Return it as stored with the record, as on that day."""
        return {
            "formula": self.formula,
            "lines": [[line.label, line.value, line.unit] for line in self.lines],
            "rests_on": [
                {"value": str(one.value), "unit": one.unit, "meaning": one.meaning, "source": source_text(one)}
                for one in self.rests_on
            ],
            "remarks": list(self.remarks),
        }


@dataclass(frozen=True, slots=True)
class KindOfWork:
    """One sort of work: what it asks, how many readings of one's own it takes, what is reckoned from it."""

    key: str
    readings: tuple[Quantity | Look, ...] = ()
    details: tuple[Detail, ...] = ()
    own_readings: int = 0
    reckon: Callable[[Answered], Sum | None] | None = None
    caution: Words = CAUTION
    about: Words = ""
    equipment: tuple[str, ...] = field(default=())
