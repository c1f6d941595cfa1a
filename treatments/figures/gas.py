"""Gas drawn from the banks of a run against what was to be expected. Litres at 15 degC and 1 atm."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.compute.units import UnitError, kpa_from
from facility.reference import units
from maintenance.compute.gas import GasError, usable_litres
from maintenance.compute.temperatures import nearest_c
from maintenance.reference import gas_law
from treatments.compute.demand import oxygen_ata_minutes
from treatments.compute.tables import AIR, OXYGEN
from treatments.figures.air import ventilation_expected
from treatments.figures.shape import BankUsed, GasUsed
from treatments.figures.unmeasured import Unmeasured, span
from treatments.reference import figures
from treatments.reference.laws import atmosphere

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from datetime import datetime

    from treatments.figures.rows import BankRows, Rows
    from treatments.figures.shape import PersonFigures
    from treatments.figures.timing import Timing

LITRES_PER_M3 = 1000
Reading = tuple["datetime", Decimal, str, Decimal | None]
Pair = tuple[Reading | None, Reading | None]


@dataclass(frozen=True, slots=True)
class Drawn:
    """What two readings differ by [L at 15 degC and 1 atm]; the span of it if a temperature was not measured."""

    litres: float
    unmeasured: Unmeasured | None


def gas_used(found: Timing, people: Iterable[PersonFigures]) -> tuple[GasUsed, ...]:
    """Return, for oxygen and air, what the banks of the plan lost and what the run was to take so far."""
    if found.track is None:
        return ()
    expected = {OXYGEN: _oxygen_scf(people), AIR: _air_scf(found)}
    per_foot = float(figures("supply")["litres_per_cubic_foot"].number)
    used = []
    for gas, scf in expected.items():
        banks = tuple(_bank(found.rows, one) for one in found.rows.banks if one.gas == gas)
        parts = [one.used_litres for one in banks]
        known = bool(parts) and all(one is not None for one in parts)
        litres = sum(one or 0.0 for one in parts) if known else None
        wanted = scf * per_foot
        percent = None if litres is None or wanted <= 0 else 100 * litres / wanted
        spread = _together((one.used_litres or 0.0, one.unmeasured) for one in banks) if known else None
        used.append(GasUsed(gas, banks, litres, wanted, scf, percent, spread))
    return tuple(used)


def _oxygen_scf(people: Iterable[PersonFigures]) -> float:
    """Return the oxygen breathed by mask: ata minutes of everybody times the planning figure."""
    volume = float(figures("supply")["mask_demand"].number)
    return sum(volume * oxygen_ata_minutes(one.segments, atmosphere()) for one in people)


def _air_scf(found: Timing) -> float:
    """Return the air of the lock filled to the deepest depth, and the ventilation so far."""
    ventilated, _logged = ventilation_expected(found)
    if found.rows.lock_m3 is None or found.track is None:
        return ventilated
    feet = found.rows.lock_m3 * LITRES_PER_M3 / float(figures("supply")["litres_per_cubic_foot"].number)
    return ventilated + feet * found.track.deepest_fsw / atmosphere().fsw


def _bank(rows: Rows, bank: BankRows) -> BankUsed:
    whole = _pair(rows, bank, None)
    pairs: list[tuple[Decimal, Pair]] = [(sum(bank.cylinders.values(), Decimal(0)), whole)]
    if None in whole and bank.cylinders:
        single = [(water, _pair(rows, bank, pk)) for pk, water in bank.cylinders.items()]
        pairs = single if all(None not in pair for _water, pair in single) else pairs
    before, after = pairs[0][1]
    parts = [one for one in (_drawn(bank, water, pair) for water, pair in pairs) if one is not None]
    known = len(parts) == len(pairs)
    return BankUsed(
        bank.pk, bank.name, bank.gas, _said(before), before[0] if before else None, _said(after),
        after[0] if after else None, sum(one.litres for one in parts) if known else None,
        _together((one.litres, one.unmeasured) for one in parts) if known else None,
    )  # fmt: skip


def _pair(rows: Rows, bank: BankRows, cylinder: int | None) -> Pair:
    """Return the newest reading before the run, and the first one after it; during it the newest so far."""
    start, end = rows.instant(0.0), rows.instant(rows.until)
    read: list[Reading] = [row[1:] for row in bank.readings if row[0] == cylinder]
    if cylinder is None and bank.gas == OXYGEN and sum(one.gas == OXYGEN for one in rows.banks) == 1:
        read = sorted([*read, *_logged(rows, read)], key=lambda one: one[0])
    before = [one for one in read if one[0] <= start]
    later = [one for one in read if one[0] >= end] if rows.over else []
    during = [one for one in read if start < one[0] <= end]
    after = later[0] if later else during[-1] if during else None
    return (before[-1] if before else None), after


def _logged(rows: Rows, read: Sequence[Reading]) -> Iterator[Reading]:
    """Yield the pressures of the oxygen bank in the log, which has no temperature for them."""
    if not read:
        return
    for one in rows.entries:
        pressure, unit = one.values.get("bank_pressure"), one.values.get("bank_unit")
        if pressure and unit:
            yield rows.instant(one.minute), Decimal(pressure), unit, None


def _said(one: Reading | None) -> str:
    if one is None:
        return ""
    pressure = f"{one[1].normalize():f} {one[2]}"
    return _("%s, temperature not measured") % pressure if one[3] is None else f"{pressure}, {one[3].normalize():f} °C"


def _drawn(bank: BankRows, water: Decimal, pair: Pair) -> Drawn | None:
    before, after = pair
    if before is None or after is None or water <= 0:
        return None
    first_c, last_c, measured = _temperatures(bank, before, after)
    content = partial(usable_litres, gas_law(bank.gas), float(water))
    try:
        first, last = (float(kpa_from(one[1], one[2], units())) for one in (before, after))
        litres = content(first, first_c) - content(last, last_c)
        return Drawn(litres, None if measured else Unmeasured(first_c, *span(content, first, last, first_c)))
    except (GasError, UnitError):
        return None


def _temperatures(bank: BankRows, before: Reading, after: Reading) -> tuple[float, float, bool]:
    """Return the temperatures at which two readings are reckoned, and whether both were measured.

    Where one has none, that of the other is taken for both; where neither has, that measured nearest in time, or 15 degC.
    """
    first_c, last_c = before[3], after[3]
    if first_c is not None and last_c is not None:
        return float(first_c), float(last_c), True
    measured = sorted((row[1], float(row[4])) for row in bank.readings if row[4] is not None)
    either = last_c if first_c is None else first_c
    taken = nearest_c(measured, before[0]) if either is None else float(either)
    return taken, taken, False


def _together(parts: Iterable[tuple[float, Unmeasured | None]]) -> Unmeasured | None:
    """Return the span of several figures of which some are only known as one; None if none of them is."""
    all_parts = list(parts)
    spans = [one for _litres, one in all_parts if one is not None]
    if not spans:
        return None
    low = sum(litres if one is None else one.low_litres for litres, one in all_parts)
    return Unmeasured(
        spans[0].taken_c, low, sum(litres if one is None else one.high_litres for litres, one in all_parts)
    )
