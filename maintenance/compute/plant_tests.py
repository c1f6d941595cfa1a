"""Sums of single tests: relief valve, hose, deluge, oxygen analyser, and months typed instead of days."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from facility.compute.typed import day as typed_day
from maintenance.compute.intervals import end_of_month

if TYPE_CHECKING:
    from decimal import Decimal

_MONTH_ALONE = re.compile(r"\s*(?:(?P<word>[^\W\d_]+)\.?\s+(?P<year>\d{4})|(?P<iso>\d{4}-\d{2}))\s*")


class TestError(ValueError):
    """Readings of a test from which nothing can be reckoned."""

    __test__ = False


@dataclass(frozen=True, slots=True)
class Relief:
    """A relief valve's opening: where it may open, how far off it opened, how far it fell until it shut."""

    low: Decimal
    high: Decimal
    deviation_percent: Decimal
    blowdown_percent: Decimal | None


def relief(setting: Decimal, opened: Decimal, reseated: Decimal | None, tolerance_percent: Decimal) -> Relief:
    """Return where a relief valve may open and what it did.

    Units: the pressures gauge, in one unit; percent of the setting, blowdown in percent of the opening pressure.
    Errors: TestError for a setting not above 0, or a valve that shut above the pressure at which it opened.
    Source: definition of set pressure tolerance and blowdown, common practice; tolerance from work_tests.toml or typed.
    """
    if setting <= 0:
        raise TestError(f"Setting {setting}: a relief valve is set above 0. Read its tag again.")
    if reseated is not None and reseated > opened:
        raise TestError(f"Shut at {reseated}, opened at {opened}: it shuts below the pressure at which it opens.")
    room = setting * tolerance_percent / 100
    blowdown = None if reseated is None or opened <= 0 else 100 * (opened - reseated) / opened
    return Relief(setting - room, setting + room, 100 * (opened - setting) / setting, blowdown)


def flow_density(flow: Decimal, area_m2: Decimal) -> Decimal:
    """Return water on a floor: ``flow`` in L/min over an area in m2, in L/min and m2.

    Errors: TestError for an area not above 0.
    """
    if area_m2 <= 0:
        raise TestError(f"Floor area {area_m2} m2: give an area above 0.")
    return flow / area_m2


def oxygen_error_bar(shown_percent: Decimal, true_percent: Decimal, pressure_bar: Decimal) -> Decimal:
    """Return by how much an oxygen analyser is off as partial pressure, in bar absolute at the gas's pressure."""
    return (shown_percent - true_percent) / 100 * pressure_bar


def day_or_month(text: str) -> tuple[date, bool]:
    """Read a day, or a month whose last day is then kept; the second part tells that it was a month.

    Errors: TypedError as facility.compute.typed.day().

    >>> day_or_month("Feb 2028")
    (datetime.date(2028, 2, 29), True)
    """
    found = _MONTH_ALONE.fullmatch(text)
    if found is None:
        return typed_day(text), False
    first = f"{found['iso']}-01" if found["iso"] else f"1 {found['word']} {found['year']}"
    return end_of_month(typed_day(first)), True
