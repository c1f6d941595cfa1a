"""What several worksheets share: cautions, values behind a computation."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_noop as _

from facility.reference import load
from maintenance.reference import FOLDER

if TYPE_CHECKING:
    from facility.compute.reference import Sourced

PRESSURE_UNITS = ("bar", "kPa", "MPa", "psi", "fsw", "msw")
UPKEEP = _(
    "Arithmetic only. The local code, the authority having jurisdiction, the maker and the item's own certificate"
    " prevail; a licensed or competent person decides."
)
GAS = _(
    "Arithmetic from typed readings. Read the gauge and the temperature of the cylinders again before relying on it;"
    " the supervisor decides whether a run can start. Gas that was not analysed counts for nothing."
)


def values(file: str) -> dict[str, Sourced]:
    """Return the sourced values of one of this part's reference files."""
    return load(FOLDER / file)


def chosen(file: str, *names: str) -> tuple[Sourced, ...]:
    """Return these values of a file, or all where none is named."""
    table = values(file)
    return tuple(table[name] for name in names) if names else tuple(table.values())
