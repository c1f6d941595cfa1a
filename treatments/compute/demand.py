"""Gas that a run needs, by the handbook's ideal-gas rules. Depths gauge fsw, volumes cubic feet.

What a bank really holds is computed by real gas in maintenance.compute.gas.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, fsum
from typing import TYPE_CHECKING

from treatments.compute.tables import OXYGEN

if TYPE_CHECKING:
    from collections.abc import Iterable

    from treatments.compute.tables import Segment


class DemandError(ValueError):
    """A demand that cannot be computed: what, which value, what is allowed."""


@dataclass(frozen=True, slots=True)
class Atmosphere:
    """One atmosphere of the handbook's working rule in fsw and psi."""

    fsw: float
    psi: float


@dataclass(frozen=True, slots=True)
class Flask:
    """Floodable volume in cubic feet, pressure and lowest pressure in psig."""

    cubic_feet: float
    pressure_psig: float
    lowest_psig: float

    def __post_init__(self) -> None:
        """Refuse a flask that gives nothing."""
        if not self.cubic_feet > 0:
            raise DemandError(f"floodable volume: {self.cubic_feet:g} cf is not taken. Allowed: more than 0.")
        if not self.pressure_psig > self.lowest_psig >= 0:
            raise DemandError(
                f"pressure: {self.pressure_psig:g} psig is not taken. Allowed: more than the lowest pressure,"
                f" {self.lowest_psig:g} psig."
            )


@dataclass(frozen=True, slots=True)
class AirRule:
    """How often each lock is pressurised to a depth, and the ventilation added in scf."""

    depth_fsw: float
    inner: float
    outer: float
    ventilation_scf: float


def oxygen_ata_minutes(segments: Iterable[Segment], atmosphere: Atmosphere) -> float:
    """Return the integral of absolute pressure over the minutes on oxygen, exact for straight changes.

    Units: result ata x min. Times the minute volume of a person it is the oxygen breathed at the surface.
    """
    return fsum(
        one.minutes * (1 + (one.start_fsw + one.end_fsw) / 2 / atmosphere.fsw) for one in segments if one.gas == OXYGEN
    )


def consumption(mean_depth_fsw: float, minute_volume_acfm: float, minutes: float, atmosphere: Atmosphere) -> float:
    """Return the gas used at a mean depth in scf.

    >>> round(consumption(95, 1.4, 7, Atmosphere(33, 14.7)), 2)
    38.01
    """
    return (mean_depth_fsw + atmosphere.fsw) / atmosphere.fsw * minute_volume_acfm * minutes


def held(flask: Flask, atmosphere: Atmosphere) -> float:
    """Return what a flask gives down to its lowest pressure in scf, by the ideal rule.

    >>> round(held(Flask(8.0, 3000, 220), Atmosphere(33, 14.7)), 2)
    1512.93
    """
    return (flask.pressure_psig - flask.lowest_psig) / atmosphere.psi * flask.cubic_feet


def flasks_needed(volume_scf: float, flask: Flask, atmosphere: Atmosphere) -> int:
    """Return how many full flasks give a volume, whole flasks. Errors: DemandError for a negative volume."""
    if volume_scf < 0:
        raise DemandError(f"volume: {volume_scf:g} scf is not taken. Allowed: 0 or more.")
    return ceil(volume_scf / held(flask, atmosphere))


def pressure_needed(volume_scf: float, cubic_feet: float, lowest_psig: float, atmosphere: Atmosphere) -> float:
    """Return the pressure in psig at which one flask gives a volume.

    >>> round(pressure_needed(66.39, 0.399, 135, Atmosphere(33, 14.7)), 2)
    2580.95
    """
    if not cubic_feet > 0:
        raise DemandError(f"floodable volume: {cubic_feet:g} cf is not taken. Allowed: more than 0.")
    return volume_scf / cubic_feet * atmosphere.psi + lowest_psig


def air_supply(inner_cubic_feet: float, outer_cubic_feet: float, rule: AirRule, atmosphere: Atmosphere) -> float:
    """Return the air that a supply must hold in scf: the locks pressurised, and the ventilation.

    Source: treatments/reference/supply.toml [air].
    """
    filled = rule.inner * inner_cubic_feet + rule.outer * outer_cubic_feet
    return filled * rule.depth_fsw / atmosphere.fsw + rule.ventilation_scf
