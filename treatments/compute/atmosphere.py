"""Chamber air: oxygen pressure, carbon dioxide as surface equivalent, temperature bands. Depths gauge fsw."""

from __future__ import annotations

from dataclasses import dataclass

ALL_PERCENT = 100


class AtmosphereError(ValueError):
    """A reading that cannot be."""


@dataclass(frozen=True, slots=True)
class Co2:
    """Carbon dioxide as surface equivalent in percent, as mmHg, and whether it is within the limit."""

    sev_percent: float
    mmhg: float
    within: bool
    allowed_reading_percent: float


@dataclass(frozen=True, slots=True)
class Bands:
    """Temperature bands in whole degrees F; a reading between two bands belongs to the hotter one."""

    intolerable_above_f: float
    hot_above_f: float
    hot_longest_min: float
    hot_tables: frozenset[str]
    warm_from_f: float
    warm_longest_min: float
    warm_tables: frozenset[str]
    known_tables: frozenset[str]


@dataclass(frozen=True, slots=True)
class Stay:
    """Two answers kept apart: the table is listed for the band (None: not stated), and the run is within the stay."""

    band: str
    longest_min: float | None
    listed: bool | None
    within: bool | None


def partial_pressure(fraction: float, depth_fsw: float, fsw_per_unit: float, surface: float) -> float:
    """Return the partial pressure of a gas in the unit of the convention.

    Units: ``fraction`` 0 to 1, ``depth_fsw`` gauge. Errors: AtmosphereError for a fraction outside 0 to 1.

    >>> round(partial_pressure(1, 60, 33, 1), 4)
    2.8182
    """
    if not 0 <= fraction <= 1:
        raise AtmosphereError(f"fraction: {fraction:g} is not taken. Allowed: 0 to 1.")
    return fraction * (surface + depth_fsw / fsw_per_unit)


def carbon_dioxide(reading_percent: float, depth_fsw: float, limit_sev: float, fsw_per_ata: float, mmhg: float) -> Co2:
    """Return a reading of carbon dioxide as surface equivalent.

    Units: ``reading_percent`` % by volume at depth, ``depth_fsw`` gauge, ``limit_sev`` % SEV,
    ``mmhg`` mmHg of one atmosphere. Errors: AtmosphereError outside 0 to 100 %.
    Source: treatments/reference/atmosphere.toml [co2].

    >>> round(carbon_dioxide(0.60, 60, 1.5, 33, 760).sev_percent, 3)
    1.691
    """
    if not 0 <= reading_percent <= ALL_PERCENT:
        raise AtmosphereError(f"reading: {reading_percent:g} % is not taken. Allowed: 0 to 100 %.")
    ata = 1 + depth_fsw / fsw_per_ata
    sev = reading_percent * ata
    return Co2(sev, sev / 100 * mmhg, sev <= limit_sev, limit_sev / ata)


def stay(table: str, run_min: float, inside_f: float, bands: Bands) -> Stay:
    """Return whether a table is listed for an inside temperature, and whether a run fits the longest stay.

    Units: ``run_min`` minutes from leaving the surface with extensions, ``inside_f`` degF.
    Source: treatments/reference/atmosphere.toml [temperature]. Valid: local codes and the physician prevail;
    a table that the bands do not speak of is neither listed nor not listed.
    """
    known = table in bands.known_tables
    if inside_f > bands.intolerable_above_f:
        return Stay(f"above {bands.intolerable_above_f:g} °F", 0.0, False, False)
    if inside_f > bands.hot_above_f:
        listed = table in bands.hot_tables if known else None
        band = f"above {bands.hot_above_f:g}, up to {bands.intolerable_above_f:g} °F"
        return Stay(band, bands.hot_longest_min, listed, run_min <= bands.hot_longest_min)
    if inside_f >= bands.warm_from_f:
        listed = table in bands.warm_tables if known else None
        band = f"{bands.warm_from_f:g} to {bands.hot_above_f:g} °F"
        return Stay(band, bands.warm_longest_min, listed, run_min <= bands.warm_longest_min)
    return Stay(f"below {bands.warm_from_f:g} °F", None, True if known else None, True)


def fahrenheit(celsius: float) -> float:
    """Return degF of degC.

    >>> fahrenheit(30.5)
    86.9
    """
    return round(celsius * 9 / 5 + 32, 9)
