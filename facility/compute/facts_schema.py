"""JSON Schema (draft 2020-12) of the facts that readiness is computed from."""

from __future__ import annotations

from typing import Any

from facility.compute.instants import INSTANT_PATTERN

Shape = dict[str, Any]

TEXT: Shape = {"type": "string", "minLength": 1}
FLAG: Shape = {"type": "boolean"}
AMOUNT: Shape = {"type": "number", "minimum": 0}
MINUTES: Shape = {"type": "integer", "minimum": 0}
INSTANT: Shape = {"$ref": "#/$defs/instant"}
PART: Shape = {"from": MINUTES | {"default": 0}, "to": {"type": ["integer", "null"], "minimum": 0}}


def schema() -> Shape:
    """The shape of the facts, for ``--facts-schema``."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Facts of a facility, from which readiness is computed",
        "$defs": _definitions(),
        **_object(
            {
                "zone": TEXT,
                "roster_until": _or_null(INSTANT),
                "age_limit_min": _object({"bank": MINUTES, "check": MINUTES}),
                "members": _named("member"),
                "people": _named("person"),
                "needs": _named("need"),
                "plans": _named("plan"),
                "waivers": _list({"$ref": "#/$defs/waiver"}),
            },
            "zone",
        ),
    }


def _object(properties: Shape, *required: str) -> Shape:
    shape: Shape = {
        "type": "object",
        "properties": properties,
        "additionalProperties": False,
    }
    return shape | {"required": list(required)} if required else shape


def _list(items: Shape) -> Shape:
    return {"type": "array", "items": items}


def _named(definition: str) -> Shape:
    return {
        "type": "object",
        "additionalProperties": {"$ref": f"#/$defs/{definition}"},
    }


def _or_null(shape: Shape) -> Shape:
    return {"anyOf": [shape, {"type": "null"}]}


def _words(*words: str | None) -> Shape:
    return {"enum": list(words)}


def _definitions() -> Shape:
    return {
        "instant": {"type": "string", "pattern": INSTANT_PATTERN},
        "due_date": _object(
            {
                "date": {"type": "string", "format": "date"},
                "window_days": MINUTES | {"default": 0},
            },
            "date",
        ),
        "member": {"oneOf": [_equipment(), _bank(), _check()]},
        **_person(),
        **_plan(),
        "waiver": _waiver(),
    }


def _due() -> Shape:
    until = {"anyOf": [INSTANT, {"$ref": "#/$defs/due_date"}, {"type": "null"}]}
    return _list(_object({"name": TEXT, "from": _or_null(INSTANT), "until": until}, "name", "until"))


def _defects() -> Shape:
    return _list(
        _object(
            {
                "from": INSTANT,
                "until": _or_null(INSTANT),
                "effect": _words("out", "restricted"),
                "plans": _or_null(_list(TEXT)),
            },
            "from",
            "effect",
        )
    )


def _equipment() -> Shape:
    words = _words("passed", "failed", "could not read")
    counter = {
        "name": TEXT,
        "count": _or_null(AMOUNT),
        "limit": AMOUNT,
        "per_run": AMOUNT,
        "per_hour": AMOUNT,
    }
    return _object(
        {
            "kind": {"const": "equipment"},
            "due": _due(),
            "results": _list(_object({"at": INSTANT, "result": words}, "at", "result")),
            "defects": _defects(),
            "counters": _list(_object(counter, "name", "count", "limit")),
        },
        "kind",
    )


def _bank() -> Shape:
    cylinder = {
        "id": TEXT,
        "usable": _or_null(AMOUNT),
        "read_at": _or_null(INSTANT),
        "analysis": _words("passed", "failed", None),
    }
    return _object(
        {
            "kind": {"const": "bank"},
            "gas": TEXT,
            "due": _due(),
            "defects": _defects(),
            "cylinders": _list(_object(cylinder, "id")),
        },
        "kind",
        "gas",
    )


def _check() -> Shape:
    signed = {"signed_at": INSTANT, "result": _words("passed", "limits", "failed")}
    return _object(
        {
            "kind": {"const": "check"},
            "checks": _list(_object(signed, *signed)),
            "opened": _list(INSTANT),
        },
        "kind",
    )


def _person() -> Shape:
    held = _list(_object({"from": INSTANT, "until": _or_null(INSTANT), "second_look": FLAG}, "from"))
    spans = _list(_object({"from": INSTANT, "until": INSTANT}, "from", "until"))
    return {
        "person": _object(
            {
                "qualifications": {"type": "object", "additionalProperties": held},
                "medical": held,
                "duty": spans,
                "waits": spans,
                "restricted": spans,
            }
        )
    }


def _plan() -> Shape:
    need = {
        "k": {"type": "integer", "minimum": 1},
        "members": _list(TEXT),
        **PART,
        "effect": _words("stops", "limits"),
        "waivable": FLAG,
        "gas": _or_null(TEXT),
    }
    role = {
        "role": TEXT,
        "count": {"type": "integer", "minimum": 1},
        "qualifications": _list(TEXT),
        "medical": FLAG,
        **PART,
    }
    gas = _object({"demand": AMOUNT, "reserve": AMOUNT}, "demand")
    plan = {
        "table_min": MINUTES,
        "extensions": _list(_object({"minutes": MINUTES, "allowed": MINUTES}, "minutes", "allowed")),
        "margin_min": MINUTES,
        "needs": _list(TEXT),
        "roles": _list(_object(role, "role", "qualifications", "medical")),
        "gas": {"type": "object", "additionalProperties": gas},
        "crew_waivable": FLAG,
        "wait_min": MINUTES,
    }
    return {
        "need": _object(need, "k", "members"),
        "plan": _object(plan, "table_min", "margin_min", "needs"),
    }


def _waiver() -> Shape:
    shared = {
        "plans": _or_null(_list(TEXT)),
        "from": INSTANT,
        "until": INSTANT,
        "to_end_of_run": FLAG,
    }
    need = {"type": "string", "minLength": 1, "not": {"const": "crew"}}
    accepts = {"type": "integer", "minimum": 0}
    return {
        "oneOf": [
            _object({"need": need, **shared, "accepts": accepts}, "need", "from", "until", "accepts"),
            _object(
                {"need": {"const": "crew"}, **shared, "without": _list(TEXT)},
                "need",
                "from",
                "until",
                "without",
            ),
        ]
    }
