"""Every worksheet, by the part of the work it serves. A new part is one more line here."""

from __future__ import annotations

from typing import TYPE_CHECKING

from maintenance.worksheets import WORKSHEETS as OF_UPKEEP
from treatments.worksheets import WORKSHEETS as OF_RUNS

if TYPE_CHECKING:
    from facility.compute.worksheet import Worksheet

CATALOGUE: tuple[tuple[Worksheet, ...], ...] = (OF_UPKEEP, OF_RUNS)


def worksheets() -> dict[str, Worksheet]:
    """Return all worksheets by name, in the order of their parts."""
    return {one.name: one for part in CATALOGUE for one in part}
