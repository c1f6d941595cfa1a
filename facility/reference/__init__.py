"""Reference data of the ground floor, read once."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

from facility.compute.reference import Sourced, parse

FOLDER = Path(__file__).parent


@lru_cache
def sources() -> dict[str, Any]:
    """Return the bibliography: what each source key stands for."""
    return tomllib.loads((FOLDER / "sources.toml").read_text(encoding="utf-8"))


@lru_cache
def load(path: Path) -> dict[str, Sourced]:
    """Return the sourced values of one reference file.

    Errors: UnsourcedError, see facility.compute.reference.
    """
    return parse(path.read_text(encoding="utf-8"), sources())


def house_rule_definitions() -> dict[str, Sourced]:
    """Return the house rules a site may set, with their defaults."""
    return load(FOLDER / "house_rules.toml")


def units() -> dict[str, Sourced]:
    """Return the conversion factors of facility.compute.units."""
    return load(FOLDER / "units.toml")
