"""Reference data of runs, read once: treatment tables and the figures that a run is computed with."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from facility.reference import load
from treatments.compute.table_parts import parts_from
from treatments.compute.tables import Table, read_table

if TYPE_CHECKING:
    from facility.compute.reference import Sourced

FOLDER = Path(__file__).parent
TABLES = FOLDER / "tables"

#: key of each table and the file that holds it, in the order in which they are shown
FILES = {
    "TT5": "tt5",
    "TT6": "tt6",
    "TT6A": "tt6a",
    "TT6A-older": "tt6a_older",
    "TT9": "tt9",
    "TT1A": "tt1a",
    "TT2A": "tt2a",
    "TT3": "tt3",
    "TT4": "tt4",
    "TT7": "tt7",
    "OX-2.0": "ox20",
    "OX-2.4": "ox24",
    "OX-2.5": "ox25",
}


def figures(name: str) -> dict[str, Sourced]:
    """Return the sourced values of one file here: "dose", "ventilation" and so on.

    Errors: FileNotFoundError for an unknown name, UnsourcedError.
    """
    return load(FOLDER / f"{name}.toml")


@lru_cache
def fractions() -> dict[str, float]:
    """Return the oxygen fraction of each gas that a table may name."""
    return {name.split(".")[1]: float(one.number) for name, one in figures("gases").items()}


def table_values(key: str) -> dict[str, Sourced]:
    """Return the sourced values of a table, each with its standing.

    Errors: KeyError for a table that is not shipped.
    """
    return load(TABLES / f"{FILES[key]}.toml")


@lru_cache
def table(key: str) -> Table:
    """Return a treatment table.

    Errors: KeyError for a table that is not shipped, TableError for a file that makes no sense.
    """
    return read_table(key, parts_from(table_values(key)), fractions())
