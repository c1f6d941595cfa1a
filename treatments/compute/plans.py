"""Reading the JSON of a plan: extensions, crew by role, gas. What is wrong is named and refused.

Units: minutes; litres at 15 °C and 1 atm. The results are the plain values that readiness is computed from.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from facility.compute.facts import Extension, GasDemand, Number, Role

#: common practice, no source: beyond these a number is a slip of the keyboard
MOST_MINUTES = 7 * 24 * 60
MOST_ALLOWED = 20
MOST_PLACES = 12
MOST_LITRES = 10_000_000
MOST_ROLES = 12
KEY = re.compile(r"[-a-z0-9_]{1,60}")
RESERVED_KEYS = frozenset({"crew", "chamber"})


class PlanError(ValueError):
    """Something in a plan that cannot be used: what it is, the value, and what is allowed."""

    def __init__(self, what: str, value: object, limit: str) -> None:
        super().__init__(f"{what}: {value!r} is refused. {limit}")
        self.what = what
        self.value = value
        self.limit = limit


@dataclass(frozen=True, slots=True)
class PlanParts:
    """The parsed parts of a plan."""

    extensions: tuple[Extension, ...]
    roles: tuple[Role, ...]
    gas: dict[str, GasDemand]


def parse_plan(
    extensions: Any, roles: Any, gas: Any, *, qualifications: Collection[str], gases: Collection[str]
) -> PlanParts:
    """Return the parts of a plan.

    Errors: PlanError naming the first thing that is wrong.
    """
    return PlanParts(
        parse_extensions(extensions), parse_roles(roles, qualifications=qualifications), parse_gas(gas, gases=gases)
    )


def parse_extensions(rows: Any) -> tuple[Extension, ...]:
    """Return the extensions of a table: minutes, and how many are allowed for.

    Errors: PlanError.
    """
    found = []
    for number, row in enumerate(_list("extensions", rows), 1):
        where = f"extension {number}"
        _keys(where, row, {"minutes", "allowed"})
        found.append(
            Extension(
                _whole(f"{where}, minutes", row.get("minutes"), 1, MOST_MINUTES),
                _whole(f"{where}, allowed", row.get("allowed"), 0, MOST_ALLOWED),
            )
        )
    return tuple(found)


def parse_roles(rows: Any, *, qualifications: Collection[str]) -> tuple[Role, ...]:
    """Return the crew of a plan, role by role.

    ``qualifications``: the keys that exist. Errors: PlanError, also if there is no role at all.
    """
    given = _list("crew", rows)
    if not given:
        raise PlanError("crew", "no role", "A run needs people: name at least one role.")
    if len(given) > MOST_ROLES:
        raise PlanError("crew", len(given), f"At most {MOST_ROLES} roles are allowed.")
    roles = tuple(_role(number, row, qualifications) for number, row in enumerate(given, 1))
    names = [role.role for role in roles]
    for name in names:
        if names.count(name) > 1:
            raise PlanError("role", name, "It is given twice. Raise its count, or give relief a name of its own.")
    return roles


def _role(number: int, row: Any, qualifications: Collection[str]) -> Role:
    where = f"role {number}"
    _keys(where, row, {"role", "count", "qualifications", "medical", "from", "to"})
    name = row.get("role")
    if not isinstance(name, str) or not name.strip():
        raise PlanError(f"{where}, name", name, "A person without a role cannot be asked for: give the role a name.")
    where = f"role {name.strip()!r}"
    start = _whole(f"{where}, from minute", row.get("from", 0), 0, MOST_MINUTES)
    end = None if row.get("to") is None else _whole(f"{where}, to minute", row["to"], 0, MOST_MINUTES)
    if end is not None and end < start:
        raise PlanError(f"{where}, to minute", end, f"It must not come before its from minute, {start}.")
    medical = row.get("medical", False)
    if not isinstance(medical, bool):
        raise PlanError(f"{where}, medical", medical, "Say true or false.")
    return Role(
        role=name.strip(),
        qualifications=_qualifications(where, row.get("qualifications", []), qualifications),
        medical=medical,
        count=_whole(f"{where}, count", row.get("count", 1), 1, MOST_PLACES),
        from_=start,
        to=end,
    )


def _qualifications(where: str, names: Any, known: Collection[str]) -> tuple[str, ...]:
    some = ", ".join(sorted(known)) or "none yet"
    for name in _list(f"{where}, qualifications", names):
        if name not in known:
            raise PlanError(f"{where}, qualification", name, f"No such kind of qualification. Known: {some}.")
    return tuple(dict.fromkeys(names))


def parse_gas(rows: Any, *, gases: Collection[str]) -> dict[str, GasDemand]:
    """Return what a run takes of each gas, and what must be left, in litres at 15 °C and 1 atm.

    Errors: PlanError.
    """
    if not isinstance(rows, Mapping):
        raise PlanError("gas", rows, "It must name each gas with its demand and reserve.")
    found = {}
    for name, row in rows.items():
        if name not in gases:
            raise PlanError("gas", name, f"No such gas. Known: {', '.join(sorted(gases))}.")
        _keys(f"gas {name}", row, {"demand", "reserve"})
        found[str(name)] = GasDemand(
            _litres(f"gas {name}, demand", row.get("demand")), _litres(f"gas {name}, reserve", row.get("reserve", 0))
        )
    return found


def as_json(parts: PlanParts) -> dict[str, Any]:
    """Return the parts as they are stored: plain lists and objects, numbers whole or as exact decimals."""
    return {
        "extensions": [{"minutes": one.minutes, "allowed": one.allowed} for one in parts.extensions],
        "roles": roles_json(parts.roles),
        "gas": {name: {"demand": int(one.demand), "reserve": int(one.reserve)} for name, one in parts.gas.items()},
    }


def roles_json(roles: tuple[Role, ...]) -> list[dict[str, Any]]:
    """Return the roles of a crew as they are stored."""
    return [
        {
            "role": one.role, "count": one.count, "qualifications": list(one.qualifications),
            "medical": one.medical, "from": one.from_, "to": one.to,
        }
        for one in roles
    ]  # fmt: skip


def run_min(table_min: int, extensions: tuple[Extension, ...]) -> int:
    """Return how long a run lasts if every extension allowed for is taken, in minutes (D without the margin).

    >>> run_min(288, (Extension(25, 2), Extension(75, 2)))
    488
    """
    return table_min + sum(one.minutes * one.allowed for one in extensions)


def check_key(what: str, key: str) -> str:
    """Return a key that plans and needs may have.

    Errors: PlanError for what readiness keeps for itself, and for anything but small letters, figures, dashes.
    """
    if key in RESERVED_KEYS:
        raise PlanError(what, key, "This word is kept for readiness itself. Choose another.")
    if not KEY.fullmatch(key):
        raise PlanError(what, key, "Use small letters, figures and dashes, at most 60.")
    return key


def _list(what: str, rows: Any) -> list[Any]:
    if not isinstance(rows, list):
        raise PlanError(what, rows, "It must be a list.")
    return rows


def _keys(what: str, row: Any, known: set[str]) -> None:
    if not isinstance(row, Mapping):
        raise PlanError(what, row, f"It must name: {', '.join(sorted(known))}.")
    for name in row:
        if name not in known:
            raise PlanError(what, name, f"It has no such entry. Known: {', '.join(sorted(known))}.")


def _whole(what: str, value: Any, least: int, most: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise PlanError(what, value, f"Give a whole number from {least} to {most}.")
    if not least <= value <= most:
        raise PlanError(what, value, f"It must be from {least} to {most}.")
    return value


def _litres(what: str, value: Any) -> Number:
    if isinstance(value, bool) or not isinstance(value, int | str | Decimal):
        raise PlanError(what, value, f"Give whole litres from 0 to {MOST_LITRES}.")
    try:
        number = Decimal(value)
    except InvalidOperation:
        raise PlanError(what, value, f"Give whole litres from 0 to {MOST_LITRES}.") from None
    if not number.is_finite() or number != number.to_integral_value() or not 0 <= number <= MOST_LITRES:
        raise PlanError(what, value, f"Give whole litres from 0 to {MOST_LITRES}.")
    return int(number)
