"""Read what was given to a worksheet, refuse what it does not take, and run it."""

from __future__ import annotations

import json
import re
from calendar import monthrange
from collections.abc import Mapping
from datetime import date
from decimal import Decimal, InvalidOperation
from math import isfinite
from typing import TYPE_CHECKING

from facility.compute.worksheet import Given, Input, InputError, Kind, PartDate

if TYPE_CHECKING:
    from facility.compute.worksheet import Json, Worksheet

LONGEST_LIST = 1000
LONGEST_TEXT = 200
SIGNIFICANT_DIGITS = 12
SMALLEST = Decimal("1e-30")  # smaller sizes than this are slips of the pen, and no computer counts with them
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_MONTH = re.compile(r"\d{4}-\d{2}", re.ASCII)


def load_inputs(text: str) -> dict[str, Json]:
    """Return the inputs of a JSON text, numbers as decimals as typed.

    Errors: InputError if it is not one JSON object, or names an input twice.
    """
    try:
        given = json.loads(
            text, parse_float=Decimal, parse_int=Decimal, parse_constant=_no_constant, object_pairs_hook=_once
        )
    except (json.JSONDecodeError, RecursionError, InvalidOperation) as fault:
        raise InputError("input", str(fault) or "nested too deep", "one JSON object of inputs by name") from None
    if not isinstance(given, dict):
        raise InputError("input", text.strip()[:60], "one JSON object of inputs by name")
    return given


def read(inputs: tuple[Input, ...], given: Mapping[str, Json]) -> Given:
    """Return the values of all inputs.

    Errors: InputError naming the first input that is missing, unknown or out of its limits.
    """
    names = [one.name for one in inputs]
    for name, value in given.items():
        if name not in names:
            raise InputError(name, value, "no such input; the inputs are " + ", ".join(names))
    return Given({one.name: read_one(one, given.get(one.name)) for one in inputs})


def read_one(one: Input, value: Json) -> object:
    """Return one value in the type of its kind, None where it may be and was left out.

    Errors: InputError.
    """
    if value is None or (value == "" and one.kind is not Kind.TEXT):
        if one.optional:
            return None
        raise InputError(one.name, None, one.allowed)
    match one.kind:
        case Kind.NUMBER | Kind.WHOLE:
            return _number(one, value)
        case Kind.NUMBERS:
            return tuple(_number(one, part) for part in _list(one, value))
        case Kind.ROWS:
            return tuple(_row(one, row, place) for place, row in enumerate(_list(one, value), 1))
        case Kind.YES_NO:
            return _yes(one, value)
        case _:
            return _from_text(one, value)


def run(worksheet: Worksheet, given: Mapping[str, Json]) -> dict[str, object]:
    """Return each output of a worksheet.

    Errors: InputError, or the ValueError of the computation.
    """
    try:
        found = worksheet.compute(read(worksheet.inputs, given))
    except ArithmeticError:
        raise InputError("inputs", "this combination", "values nearer to the example, which can be computed") from None
    return {output.name: plain(found[output.name]) for output in worksheet.outputs}


def plain(value: object) -> object:
    """Return a value as JSON holds it: dates as text, numbers with twelve significant digits."""
    if isinstance(value, bool | int | None):
        return value
    if isinstance(value, Decimal | float):
        number = float(f"{float(value):.{SIGNIFICANT_DIGITS}g}")
        return number if isfinite(number) else None
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [plain(part) for part in value]
    return str(value)


def _number(one: Input, value: Json) -> Decimal:
    if isinstance(value, str) and _NUMBER.fullmatch(value.strip()):
        value = Decimal(value.strip())
    elif isinstance(value, int | float) and not isinstance(value, bool):
        value = Decimal(str(value))
    if not isinstance(value, Decimal):
        raise InputError(one.name, value, one.allowed)
    broken = one.kind is Kind.WHOLE and value.is_finite() and value != value.to_integral_value()
    if broken or not value.is_finite() or 0 < abs(value) < SMALLEST or _outside(one, value):
        raise InputError(one.name, value, one.allowed, one.unit)
    return value


def _outside(one: Input, value: Decimal) -> bool:
    too_low = one.low is not None and (value < one.low or (one.low_open and value == one.low))
    return too_low or (one.high is not None and value > one.high)


def _list(one: Input, value: Json) -> list[Json]:
    if not isinstance(value, list) or not value or len(value) > LONGEST_LIST:
        shown = f"a list of {len(value)}" if isinstance(value, list) else value
        raise InputError(one.name, shown, f"{one.allowed}; 1 to {LONGEST_LIST} of them")
    return value


def _row(one: Input, row: Json, place: int) -> Given:
    if not isinstance(row, dict):
        raise InputError(one.name, row, one.allowed)
    try:
        return read(one.columns, row)
    except InputError as fault:
        raise InputError(f"{one.name}, row {place}, {fault.name}", fault.value, fault.allowed) from None


def _yes(one: Input, value: Json) -> bool:
    if not isinstance(value, bool):
        raise InputError(one.name, value, one.allowed)
    return value


def _from_text(one: Input, value: Json) -> object:
    if not isinstance(value, str):
        raise InputError(one.name, value, one.allowed)
    text = value.strip()
    if one.kind is Kind.CHOICE and text in one.choices:
        return text
    if one.kind is Kind.TEXT and len(text) <= LONGEST_TEXT:
        return text
    found = _date(text) if one.kind in (Kind.DATE, Kind.MONTH) else None
    if found is None or (found.month_only and one.kind is Kind.DATE):
        raise InputError(one.name, value, one.allowed)
    return found.on if one.kind is Kind.DATE else found


def _date(text: str) -> PartDate | None:
    try:
        if _DAY.fullmatch(text):
            return PartDate(date.fromisoformat(text))
        if _MONTH.fullmatch(text):
            year, month = int(text[:4]), int(text[5:])
            return PartDate(date(year, month, monthrange(year, month)[1]), month_only=True)
    except ValueError:  # calendar.IllegalMonthError is one
        pass
    return None


def _no_constant(name: str) -> Json:
    raise InputError("input", name, "finite numbers only")


def _once(pairs: list[tuple[str, Json]]) -> dict[str, Json]:
    found: dict[str, Json] = {}
    for name, value in pairs:
        if name in found:
            raise InputError(name, value, "each input once; it is named twice")
        found[name] = value
    return found
