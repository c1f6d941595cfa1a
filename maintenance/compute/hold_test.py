"""Hold (drop) test: how far the pressure fell, and how much of that the temperature explains."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from decimal import Decimal


class HoldError(ValueError):
    """A hold test that cannot be judged."""


class Basis(StrEnum):
    """Which pressure a percentage is of; there is no default."""

    GAUGE = "gauge"
    ABSOLUTE = "absolute"


class HoldVerdict(StrEnum):
    """What the readings as taken say."""

    PASSED = "pass"
    FAILED = "fail"
    TOO_SHORT = "not valid: held too short"


@dataclass(frozen=True, slots=True)
class Hold:
    """Readings of a hold test. Units: pressures gauge in one unit, ``atmosphere`` in the same; degC; minutes."""

    start: Decimal
    end: Decimal
    atmosphere: Decimal
    start_c: Decimal
    end_c: Decimal
    minutes: Decimal


@dataclass(frozen=True, slots=True)
class HoldLimit:
    """Largest drop in percent of the starting pressure, or lowest end pressure, and the time to hold."""

    percent: Decimal | None
    basis: Basis
    lowest_end: Decimal | None
    minutes: Decimal


@dataclass(frozen=True, slots=True)
class HoldResult:
    """Drop as read and corrected to the starting temperature, in the unit of the readings and percent."""

    drop: Decimal
    drop_percent: Decimal
    allowed_drop: Decimal
    corrected_end: Decimal
    corrected_drop: Decimal
    corrected_percent: Decimal
    verdict: HoldVerdict


def hold_result(hold: Hold, limit: HoldLimit, celsius_zero: Decimal) -> HoldResult:
    """Judge a hold test by its readings as taken; the corrected drop is a remark beside it.

    Units: ``celsius_zero`` 273.15 K. At constant volume pressure follows absolute temperature.
    Errors: HoldError if no limit is given, or the start is not above the atmosphere of its basis.
    Source: maintenance/reference/hold_test.toml; gas law of Gay-Lussac for the correction.
    """
    base = hold.start + (hold.atmosphere if limit.basis is Basis.ABSOLUTE else 0)
    if base <= 0:
        raise HoldError(f"Start pressure {hold.start}: a percentage needs a start above 0. Read the gauge again.")
    drop = hold.start - hold.end
    kelvins = (hold.start_c + celsius_zero) / (hold.end_c + celsius_zero)
    corrected_end = (hold.end + hold.atmosphere) * kelvins - hold.atmosphere
    corrected = hold.start - corrected_end
    allowed = _allowed(hold, limit, base)
    verdict = HoldVerdict.PASSED if drop <= allowed else HoldVerdict.FAILED
    if verdict is HoldVerdict.PASSED and hold.minutes < limit.minutes:
        verdict = HoldVerdict.TOO_SHORT
    return HoldResult(drop, 100 * drop / base, allowed, corrected_end, corrected, 100 * corrected / base, verdict)


def _allowed(hold: Hold, limit: HoldLimit, base: Decimal) -> Decimal:
    """Return the largest drop that passes: the stricter of the two limits."""
    drops = []
    if limit.percent is not None:
        drops.append(base * limit.percent / 100)
    if limit.lowest_end is not None:
        drops.append(hold.start - limit.lowest_end)
    if not drops:
        raise HoldError("No limit is given. Give the largest drop in percent, or the lowest end pressure.")
    return min(drops)
