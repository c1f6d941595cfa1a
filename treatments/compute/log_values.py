"""Reading what was typed into a log entry, and refusing what cannot be stored, with what to do instead.

Texts in, texts out: a number is kept as typed, with a decimal point. Depths in the unit of the gauge, the others in
the unit that their key names. An improbable value is asked about once and then taken; out of limits is no error.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from facility.compute.typed import Refusal, TypedError, number
from treatments.compute.log_kinds import KINDS, Asked, During, Form, Kind, Value

LONGEST = 24
DEPTH_DECIMALS = 2


def _(text: str) -> str:
    return text


class LogRefusedError(ValueError):
    """An entry that cannot be stored, in a sentence with its values beside it."""

    def __init__(self, sentence: str, **values: object) -> None:
        super().__init__(sentence % values)
        self.sentence, self.values = sentence, values


class LogDoubtError(LogRefusedError):
    """An entry that is asked about once, and taken when it is said to be right."""


@dataclass(frozen=True, slots=True)
class Span:
    """Between which values a number is possible at all, and between which it is taken without asking."""

    least: Decimal
    most: Decimal
    low: Decimal
    high: Decimal


@dataclass(frozen=True, slots=True)
class Typed:
    """What a person gave. ``sure``: it was asked about and said to be right."""

    kind: str
    occupant: bool = False
    depth: str = ""
    depth_unit: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    text: bool = False
    sure: bool = False


@dataclass(frozen=True, slots=True)
class Checked:
    """What is stored: depth as typed with its unit, values as texts by key."""

    kind: Kind
    depth: Decimal | None
    depth_unit: str
    values: dict[str, str]


def check(typed: Typed, spans: Mapping[str, Span], depth_units: Mapping[str, Span]) -> Checked:
    """Return what is stored of an entry.

    ``spans`` by the key of the value (of a bank's pressure by ``bank_pressure.UNIT``), ``depth_units`` by unit.
    Errors: LogRefusedError naming value and limit; LogDoubtError unless ``sure``.

    >>> one = Span(Decimal(0), Decimal(100), Decimal(15), Decimal(30))
    >>> check(Typed("reading", values={"o2_percent": "21,1"}), {"o2_percent": one}, {}).values
    {'o2_percent': '21.1'}
    """
    kind = KINDS.get(typed.kind)
    if kind is None:
        raise LogRefusedError(_("“%(kind)s” is no kind of entry. Load the page again and choose one."), kind=typed.kind)
    _who(kind, typed)
    depth, unit = _depth(kind, typed, depth_units)
    values = _values(kind, typed, spans)
    if kind.some and depth is None and not values and not typed.text:
        raise LogRefusedError(_("The entry is empty. Type at least one value or a few words."))
    return Checked(kind, depth, unit, values)


def _who(kind: Kind, typed: Typed) -> None:
    if kind.occupant is Asked.NEEDED and not typed.occupant:
        raise LogRefusedError(_("Say whom it is about: choose one of the people of this run."))
    if kind.occupant is Asked.NO and typed.occupant:
        raise LogRefusedError(_("This kind of entry is about the chamber, not about one person. Leave the person out."))


def _depth(kind: Kind, typed: Typed, units: Mapping[str, Span]) -> tuple[Decimal | None, str]:
    text = typed.depth.strip()
    if not text:
        if kind.depth is Asked.NEEDED:
            raise LogRefusedError(_("The depth is missing. Type what the gauge shows."))
        return None, ""
    if kind.depth is Asked.NO:
        raise LogRefusedError(_("Depth “%(value)s”: this kind of entry has no depth. Log a reading too."), value=text)
    span = units.get(typed.depth_unit)
    if span is None:
        known = ", ".join(units)
        raise LogRefusedError(
            _("Depth %(value)s: “%(unit)s” is no unit of a depth gauge. Use one of %(known)s."),
            value=text, unit=typed.depth_unit, known=known,
        )  # fmt: skip
    found = Decimal(_number(_("Depth"), text, typed.depth_unit, span, sure=typed.sure))
    if found != round(found, DEPTH_DECIMALS):
        raise LogRefusedError(
            _("Depth %(value)s has more than %(most)d decimals. Type what the gauge shows."),
            value=text, most=DEPTH_DECIMALS,
        )  # fmt: skip
    return found, typed.depth_unit


def _values(kind: Kind, typed: Typed, spans: Mapping[str, Span]) -> dict[str, str]:
    given = {key: text.strip() for key, text in typed.values.items() if text.strip()}
    for key in given:
        if kind.value(key) is None:
            known = ", ".join(one.key for one in kind.values) or _("none")
            raise LogRefusedError(
                _("“%(key)s” is no value of this kind of entry. Known: %(known)s."), key=key, known=known
            )
    if bool(given.get("bank_pressure")) != bool(given.get("bank_unit")):
        given.pop("bank_unit", None)
        if given.get("bank_pressure"):
            raise LogRefusedError(
                _("Oxygen bank %(value)s: the unit is missing. Choose the one on the gauge."),
                value=given["bank_pressure"],
            )
    return {one.key: _one(one, given, spans, sure=typed.sure) for one in kind.values if one.key in given or one.needed}


def _one(value: Value, given: Mapping[str, str], spans: Mapping[str, Span], *, sure: bool) -> str:
    text = given.get(value.key, "")
    if not text:
        raise LogRefusedError(_("“%(label)s” is missing. Give it, or leave the entry."), label=value.label)
    if value.form is Form.CHOICE:
        if text not in {key for key, _words in value.choices}:
            known = ", ".join(key for key, _words in value.choices)
            raise LogRefusedError(
                _("%(label)s: “%(value)s” is not taken. Allowed: %(known)s."),
                label=value.label, value=text, known=known,
            )  # fmt: skip
        return text
    bank = value.key == "bank_pressure"
    unit = given["bank_unit"] if bank else value.unit
    span = spans.get(f"bank_pressure.{unit}" if bank else value.key)
    if span is None:
        raise LogRefusedError(
            _("%(label)s %(value)s: unit “%(unit)s” is not known."), label=value.label, value=text, unit=unit
        )
    found = _number(value.label, text, unit, span, sure=sure)
    if value.form is Form.WHOLE and Decimal(found) != int(Decimal(found)):
        raise LogRefusedError(
            _("%(label)s: %(value)s is not whole. Type a whole number."), label=value.label, value=text
        )
    return found


_WHY = {
    Refusal.GROUPED: _("%(label)s: “%(value)s” has a thousand separator or may be read as one. Type 1234 or 1.234."),
    Refusal.NOT_A_NUMBER: _("%(label)s: “%(value)s” is not a number. Type it as 12.5 or 12,5."),
}


def _number(label: str, text: str, unit: str, span: Span, *, sure: bool) -> str:
    try:
        found = number(text[:LONGEST])
    except TypedError as error:
        raise LogRefusedError(_WHY[error.refusal], label=label, value=text) from None
    if not span.least <= found <= span.most:
        raise LogRefusedError(
            _("%(label)s: %(value)s %(unit)s cannot be. Allowed: %(least)s to %(most)s %(unit)s. Read it again."),
            label=label, value=text, unit=unit, least=span.least, most=span.most,
        )  # fmt: skip
    if not sure and not span.low <= found <= span.high:
        raise LogDoubtError(
            _("%(value)s %(unit)s? %(label)s is usually between %(low)s and %(high)s %(unit)s. Read it again, or say that it is right."),
            label=label, value=text, unit=unit, low=span.low, high=span.high,
        )  # fmt: skip
    return f"{found:f}"


def fits(kind: Kind, *, started: bool, ended: bool) -> bool:
    """Return whether an entry of this kind makes sense before, in or after the time under pressure."""
    return kind.during is During.ALWAYS or (started and not ended)
