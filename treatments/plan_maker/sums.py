"""The numbers of a plan as sums that open: the formula with its numbers put in, source and standing."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from facility.reference import sources

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from facility.compute.reference import Sourced

#: value, unit, meaning, source, whether confirmed: as the table of sourced values shows them
Value = tuple[str, str, str, str, bool]


@dataclass(frozen=True, slots=True)
class Line:
    """One number of a plan. ``kind``: empty, "tot" (rule above) or "end" (double rule below)."""

    words: str
    figure: str
    formula: str
    values: tuple[Value, ...] = ()
    kind: str = ""
    remark: str = ""

    @property
    def unconfirmed(self) -> bool:
        """Whether it rests on a value from memory."""
        return any(not confirmed for *_rest, confirmed in self.values)


@dataclass(frozen=True, slots=True)
class Part:
    """A worked part of a plan: its lines in order, and what a reader should know."""

    key: str
    title: str
    lines: tuple[Line, ...]
    notes: tuple[str, ...] = field(default=())


def shown(value: float | None, places: int = 2) -> str:
    """Return a number with at most so many decimals, without trailing noughts, thousands apart by a thin space."""
    if value is None:
        return _("not stated; ask the physician")
    text = f"{value:.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    whole, _point, part = text.partition(".")
    grouped = f"{int(whole):,}".replace(",", "\u202f")
    return f"{grouped}{number_format(f'0.{part}', decimal_pos=len(part), use_l10n=True)[1:]}" if part else grouped


def value_of(one: Sourced) -> Value:
    """Return a sourced value as the table of values shows it."""
    title = str(sources()[one.source]["title"])
    unit = "" if one.unit == "text" else one.unit
    return str(one.value), unit, one.meaning, f"{title}, {one.where}", one.confirmed


def typed_value(value: float, suggestion: Sourced) -> Value:
    """Return a figure of the house: the suggestion with its source, or what was typed for this plan."""
    if value == float(suggestion.number):
        return value_of(suggestion)
    return shown(value, 3), suggestion.unit, suggestion.meaning, _("typed for this plan"), True


def terms(parts: Iterable[tuple[float, float, float]], fsw: float) -> str:
    """Return minutes x factor x mean absolute pressure as a sum, equal terms together.

    ``parts``: minutes, factor (1: left out), mean depth in fsw.
    """
    alike: dict[tuple[float, float], float] = defaultdict(float)
    for minutes, factor, depth in parts:
        alike[round(factor, 6), round(depth, 6)] += minutes
    said = []
    for (factor, depth), minutes in alike.items():
        rate = "" if factor == 1 else f" · {shown(factor, 2)}"
        said.append(f"{shown(minutes, 3)} min{rate} · ({shown(depth, 2)} + {shown(fsw)}) / {shown(fsw)}")
    return " + ".join(said) or "0"


def joined(words: Sequence[str]) -> str:
    """Return figures as a sum."""
    return " + ".join(words) or "0"
