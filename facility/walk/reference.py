"""The sheets to start from and the plausible ranges, read once from the reference files."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from facility.compute.sheets import Range, Step, parse_steps
from facility.reference import FOLDER, load, sources


@dataclass(frozen=True, slots=True)
class DefaultSheet:
    """One sheet to start from; ``plain`` is what a first version stores."""

    key: str
    title: str
    occasion: str
    steps: tuple[Step, ...]
    plain: tuple[dict[str, Any], ...]


@lru_cache
def default_sheets() -> dict[str, DefaultSheet]:
    """Return the sheets of the reference by key, in the order of a day.

    Errors: SheetError or KeyError for a sheet that could not be walked or traced.
    """
    names = ("daily", "before_run", "after_run")
    sheets = (_sheet(tomllib.loads((FOLDER / "sheets" / f"{name}.toml").read_text(encoding="utf-8"))) for name in names)
    return {sheet.key: sheet for sheet in sheets}


def _sheet(raw: dict[str, Any]) -> DefaultSheet:
    plain = tuple(_traced(step) for step in raw["step"])
    return DefaultSheet(raw["key"], raw["title"], raw["occasion"], parse_steps(list(plain)), plain)


def _traced(step: dict[str, Any]) -> dict[str, Any]:
    """Return the step with its source written out: title of the text, then the place in it."""
    if "source" not in step:
        return step
    source = f"{sources()[step['source']]['title']}, {step['where']}"
    return {name: value for name, value in step.items() if name != "where"} | {"source": source}


@lru_cache
def plausible_ranges() -> dict[str, Range]:
    """Return by unit between which values a reading is taken without asking once more."""
    entries = load(FOLDER / "plausible.toml")
    lows = {entry.unit: entry.number for name, entry in entries.items() if name.endswith(".low")}
    highs = {entry.unit: entry.number for name, entry in entries.items() if name.endswith(".high")}
    return {unit: Range(lows[unit], highs[unit]) for unit in lows}
