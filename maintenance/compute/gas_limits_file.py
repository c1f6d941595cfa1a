"""Read the limit sets of breathing gases from their file."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from facility.compute.reference import Standing, UnsourcedError
from maintenance.compute.gas_limits import Limit, LimitSet, Odour, Point

if TYPE_CHECKING:
    from collections.abc import Mapping

GASES = ("O2", "AIR")
NEEDED = ("title", "gas", "source", "where", "limit")


@dataclass(frozen=True, slots=True)
class SourcedSet:
    """A limit set with its gas, source, place, and the parameters whose limits are from memory.

    ``number`` names it in the house rule that says which set the site adopted; it never changes, and 0 cannot be named.
    ``units``: unit of each parameter.
    """

    limits: LimitSet
    gas: str
    source: str
    where: str
    from_memory: tuple[str, ...]
    number: int = 0
    units: Mapping[str, str] = field(default_factory=dict)


def parse_limit_sets(text: str, sources: Mapping[str, object]) -> tuple[SourcedSet, ...]:
    """Return the limit sets of a TOML text in order.

    Errors: UnsourcedError naming the set that lacks a field, or whose value nobody could check.
    """
    return tuple(_set(key, table, sources) for key, table in tomllib.loads(text).items())


def _set(key: str, table: Mapping[str, Any], sources: Mapping[str, object]) -> SourcedSet:
    missing = [name for name in NEEDED if not table.get(name)]
    if missing:
        raise UnsourcedError(f"{key}: {', '.join(missing)} missing. Each set needs {', '.join(NEEDED)}.")
    if table["source"] not in sources:
        raise UnsourcedError(f"{key}: source {table['source']!r} is not in sources.toml.")
    if table["gas"] not in GASES:
        raise UnsourcedError(f"{key}: gas {table['gas']!r}; use one of {', '.join(GASES)}.")
    try:
        odour = Odour(table["odour"]) if table.get("odour") else None
        limits = tuple(_limit(row) for row in table["limit"])
        standings = [(row["parameter"], Standing(row["standing"])) for row in table["limit"]]
    except (ValueError, KeyError, InvalidOperation) as fault:
        raise UnsourcedError(f"{key}: {fault} is not known or missing in a limit.") from None
    memory = tuple(parameter for parameter, standing in standings if standing is Standing.MEMORY)
    units = {str(row["parameter"]): str(row["unit"]) for row in table["limit"]}
    return SourcedSet(
        LimitSet(key, table["title"], limits, odour), table["gas"], table["source"], table["where"], memory,
        int(table.get("number", 0)), units,
    )  # fmt: skip


def _limit(row: Mapping[str, str]) -> Limit:
    low, high, above, upto, start = (_decimal(row, name) for name in ("low", "high", "above_bar", "to_bar", "from_bar"))
    if low is None and high is None:
        raise ValueError(f"{row['parameter']} without low or high")
    if not row["unit"]:
        raise ValueError(f"{row['parameter']} without unit")
    point = Point(row["point"]) if "point" in row else None
    return Limit(row["parameter"], low, high, point, above, upto, start)


def _decimal(row: Mapping[str, str], name: str) -> Decimal | None:
    return Decimal(row[name]) if name in row else None
