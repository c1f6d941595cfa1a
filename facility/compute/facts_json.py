"""Facts from JSON and back to JSON, exactly in the documented shape."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from typing import Any, NoReturn

from facility.compute import facts as f
from facility.compute.facts_check import check_facility
from facility.compute.instants import FactsError, format_instant
from facility.compute.reading import (
    Reader,
    amount,
    boolean,
    due,
    instant,
    listed,
    named,
    one_of,
    optional,
    record,
    refuse,
    text,
    whole,
)

KINDS: dict[str, type] = {"equipment": f.Equipment, "bank": f.Bank, "check": f.Check}
MINUTES = whole(0)

DUES = listed(record(f.Due, name=(text,), until=(optional(due),), from_=(optional(instant), None)))
DEFECTS = listed(
    record(
        f.Defect,
        from_=(instant,),
        until=(optional(instant), None),
        effect=(one_of("out", "restricted"),),
        plans=(optional(listed(text)), None),
    )
)
RESULTS = listed(
    record(
        f.Result,
        at=(instant,),
        result=(one_of("passed", "failed", "could not read"),),
    )
)
COUNTERS = listed(
    record(
        f.Counter,
        name=(text,),
        count=(optional(amount),),
        limit=(amount,),
        per_run=(amount, 0),
        per_hour=(amount, 0),
    )
)
CYLINDERS = listed(
    record(
        f.Cylinder,
        id=(text,),
        usable=(optional(amount), None),
        read_at=(optional(instant), None),
        analysis=(optional(one_of("passed", "failed")), None),
    )
)
CHECKS = listed(
    record(
        f.SignedCheck,
        signed_at=(instant,),
        result=(one_of("passed", "limits", "failed"),),
    )
)
MEMBERS: dict[str, Reader] = {
    "equipment": record(
        f.Equipment,
        due=(DUES, ()),
        results=(RESULTS, ()),
        defects=(DEFECTS, ()),
        counters=(COUNTERS, ()),
    ),
    "bank": record(
        f.Bank,
        gas=(text,),
        cylinders=(CYLINDERS, ()),
        due=(DUES, ()),
        defects=(DEFECTS, ()),
    ),
    "check": record(f.Check, checks=(CHECKS, ()), opened=(listed(instant), ())),
}
HELD = listed(
    record(
        f.Held,
        from_=(instant,),
        until=(optional(instant), None),
        second_look=(boolean, False),
    )
)
SPANS = listed(record(f.Span, from_=(instant,), until=(instant,)))
PERSON = record(
    f.Person,
    qualifications=(named(HELD), {}),
    medical=(HELD, ()),
    duty=(SPANS, ()),
    waits=(SPANS, ()),
    restricted=(SPANS, ()),
)
NEED = record(
    f.Need,
    k=(whole(1, 10000),),
    members=(listed(text),),
    from_=(MINUTES, 0),
    to=(optional(MINUTES), None),
    effect=(one_of("stops", "limits"), "stops"),
    waivable=(boolean, True),
    gas=(optional(text), None),
)
ROLE = record(
    f.Role,
    role=(text,),
    count=(whole(1, 100), 1),
    qualifications=(listed(text),),
    medical=(boolean,),
    from_=(MINUTES, 0),
    to=(optional(MINUTES), None),
)
PLAN = record(
    f.Plan,
    table_min=(MINUTES,),
    extensions=(
        listed(record(f.Extension, minutes=(MINUTES,), allowed=(whole(0, 1000),))),
        (),
    ),
    margin_min=(MINUTES,),
    needs=(listed(text),),
    roles=(listed(ROLE), ()),
    gas=(named(record(f.GasDemand, demand=(amount,), reserve=(amount, 0))), {}),
    crew_waivable=(boolean, True),
    wait_min=(MINUTES, 0),
)
WAIVER = {
    "need": (text,),
    "plans": (optional(listed(text)), None),
    "from_": (instant,),
    "until": (instant,),
    "to_end_of_run": (boolean, False),
}
NEED_WAIVER = record(f.Waiver, **WAIVER, accepts=(whole(0, 10000),))
CREW_WAIVER = record(f.Waiver, **WAIVER, without=(listed(text),))


def _member(value: Any, place: str) -> f.Member:
    if not isinstance(value, Mapping) or "kind" not in value:
        raise refuse(place, value, "Give an object with a kind")
    kind = one_of(*KINDS)(value["kind"], f"{place}.kind")
    rest = {key: item for key, item in value.items() if key != "kind"}
    member: f.Member = MEMBERS[kind](rest, place)
    return member


def _waiver(value: Any, place: str) -> f.Waiver:
    crew = isinstance(value, Mapping) and value.get("need") == f.CREW
    waiver: f.Waiver = (CREW_WAIVER if crew else NEED_WAIVER)(value, place)
    return waiver


FACILITY = record(
    f.Facility,
    zone=(text,),
    roster_until=(optional(instant), None),
    age_limit_min=(
        record(f.AgeLimits, bank=(MINUTES, None), check=(MINUTES, 24 * 60)),
        {},
    ),
    members=(named(_member), {}),
    people=(named(PERSON), {}),
    needs=(named(NEED), {}),
    plans=(named(PLAN), {}),
    waivers=(listed(_waiver), ()),
)


def read_json(content: str) -> Any:
    """Parse JSON: numbers exact, a key given twice and NaN refused.

    Errors: FactsError with line and column.
    """
    try:
        return json.loads(
            content,
            parse_float=Decimal,
            parse_constant=_refuse_constant,
            object_pairs_hook=_unique,
        )
    except json.JSONDecodeError as error:
        raise FactsError(f"Not JSON: {error.msg} at line {error.lineno}, column {error.colno}.") from error
    except RecursionError as error:
        raise FactsError("Not facts: nested too deeply.") from error
    except FactsError:
        raise
    except (ValueError, InvalidOperation) as error:
        raise FactsError("Not facts: a number has too many digits or too large an exponent.") from error


def load_facts(content: str) -> f.Facility:
    """Read a facility from the text of a JSON file.

    Errors: FactsError naming the key, the value and what is allowed.
    """
    return facility_of(read_json(content))


def facility_of(value: Any) -> f.Facility:
    """Read a facility from parsed JSON and check what refers to what."""
    facility: f.Facility = FACILITY(value, "facts")
    check_facility(facility)
    return facility


def dump_facts(facility: f.Facility) -> dict[str, Any]:
    """Write a facility in the shape that ``load_facts`` reads."""
    shape: dict[str, Any] = _dumped(facility)
    return shape


INSTANT_KEYS = {"from", "until", "at", "read_at", "signed_at", "roster_until", "opened"}


def _dumped(value: Any, key: str = "") -> Any:
    if isinstance(value, f.Need | f.Role) or not is_dataclass(value):
        return _dumped_plain(value, key)
    found = {field.name.rstrip("_"): _dumped(getattr(value, field.name), field.name) for field in fields(value)}
    if isinstance(value, f.Waiver):
        del found["accepts" if value.need == f.CREW else "without"]
    if isinstance(value, f.AgeLimits) and value.bank is None:
        del found["bank"]
    kind = next((name for name, type_ in KINDS.items() if type(value) is type_), None)
    return {"kind": kind, **found} if kind else found


def _dumped_plain(value: Any, key: str) -> Any:
    if isinstance(value, f.Need | f.Role):
        return {field.name.rstrip("_"): _dumped(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, dict):
        return {name: _dumped(item) for name, item in value.items()}
    if isinstance(value, tuple):
        return [_dumped(item, key) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal | Fraction):
        return int(value) if value == int(value) else float(value)
    if type(value) is int and key.rstrip("_") in INSTANT_KEYS:
        return format_instant(value)
    return value


def _refuse_constant(word: str) -> NoReturn:
    raise FactsError(f"{word} is not a number. Give a finite number.")


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [key for key, _ in pairs]
        twice = next(key for key in names if names.count(key) > 1)
        raise FactsError(f"The key {twice!r} is given twice in one object. Keep one.")
    return found
