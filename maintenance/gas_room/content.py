"""What each bank holds: cylinder by cylinder, what counts and why, every figure of the sum, and its course."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db.models import OuterRef, Q, Subquery
from django.utils.translation import gettext as _

from facility.compute.units import UnitError, kpa_from
from facility.reference import units
from maintenance.compute.gas import CELSIUS_ZERO, GAS_CONSTANT, GasError
from maintenance.compute.gas_sum import GasSum, equalised_gauge_kpa, gas_sum
from maintenance.compute.temperatures import counted_c, nearest_c
from maintenance.models import (
    AnalysisResult,
    BankReading,
    Cylinder,
    CylinderAnalysis,
    Defect,
    DefectEffect,
    GasBank,
)
from maintenance.models.temperatures import with_measured
from maintenance.reference import gas_law

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, datetime

    from facility.models import Site

COURSE_DAYS = 90
READ = ("pressure", "unit", "temperature_c", "read_at", "answer")


@dataclass(frozen=True, slots=True)
class CylinderLine:
    """One cylinder: its reading, its sum if it can be reckoned, and why it does not count (empty: it does).

    ``temperature_c``: what it is reckoned at; ``measured``: whether somebody measured that.
    """

    row: Any
    pressure: Decimal | None
    unit: str
    temperature_c: Decimal | None
    read_at: datetime | None
    measured: bool
    sum: GasSum | None
    why_not: str

    @property
    def litres(self) -> int:
        """What counts of it, cut to whole litres at 15 degC and 1 atm, as readiness counts it."""
        return int(self.sum.usable_litres) if self.sum is not None and not self.why_not else 0


@dataclass(frozen=True, slots=True)
class Worked:
    """A sum that several cylinders share, with its figures as texts for the page."""

    marks: tuple[str, ...]
    sum: GasSum
    pressure: Decimal
    unit: str
    temperature_c: Decimal
    measured: bool
    kelvin: float
    molar_mass: float
    density: float
    each_litres: int

    @property
    def litres(self) -> int:
        """All of them together."""
        return self.each_litres * len(self.marks)


@dataclass(frozen=True, slots=True)
class BankState:
    """One bank at one instant. Litres at 15 degC and 1 atm; ``age_min`` of the oldest reading that counts."""

    bank: GasBank
    lines: tuple[CylinderLine, ...]
    age_min: int | None
    too_old: bool
    tag: str

    @property
    def counting(self) -> list[CylinderLine]:
        """Its cylinders that count."""
        return [one for one in self.lines if not one.why_not]

    @property
    def litres(self) -> int:
        """What may be drawn as far as it is read; nothing from a bank that is out of service."""
        return 0 if self.tag else self.content_litres

    @property
    def content_litres(self) -> int:
        """What its counting cylinders hold, also while a tag keeps all of it from being counted."""
        return sum(one.litres for one in self.lines)

    @property
    def unmeasured(self) -> bool:
        """Whether the temperature of a cylinder that counts was not measured."""
        return any(not one.measured for one in self.counting)

    @property
    def known(self) -> bool:
        """Whether readings are there and not too old."""
        return bool(self.counting) and not self.too_old

    @property
    def kilograms(self) -> float:
        """Usable mass [kg]."""
        return sum(one.sum.usable_kg for one in self.counting if one.sum)

    @property
    def ideal_litres(self) -> int:
        """What the ideal law would say."""
        return int(sum(one.sum.ideal_litres for one in self.counting if one.sum))

    def past_test(self, today: date) -> list[str]:
        """Return the marks of cylinders whose pressure test is overdue."""
        return [one.row.mark for one in self.lines if one.row.test_due_on is not None and one.row.test_due_on < today]

    def worked(self) -> list[Worked]:
        """Return one sum for all cylinders of one size and reading."""
        law = gas_law(self.bank.gas)
        alike: dict[tuple[Any, ...], list[CylinderLine]] = defaultdict(list)
        for one in self.counting:
            alike[one.row.water_litres, one.pressure, one.unit, one.temperature_c, one.measured].append(one)
        return [
            Worked(
                tuple(one.row.mark for one in group), first.sum, first.pressure, first.unit, first.temperature_c,
                first.measured, float(first.temperature_c) + CELSIUS_ZERO, law.molar_mass, law.reference_density,
                first.litres,
            )
            for group in alike.values()
            if (first := group[0]).sum is not None and first.pressure is not None and first.temperature_c is not None
        ]  # fmt: skip


def bank_states(site: Site, at: datetime, age_limit_min: int, bank_pk: int | None = None) -> list[BankState]:
    """Return the banks of a site, or one of them; the number of queries does not grow."""
    banks = GasBank.objects.filter(site=site, retired_at=None).order_by("key")
    if bank_pk is not None:
        banks = banks.filter(pk=bank_pk)
    of_bank: dict[int, list[Any]] = defaultdict(list)
    for cylinder in _cylinders(site, at, bank_pk):
        of_bank[cylinder.bank_id].append(cylinder)
    shut = dict(
        Defect.objects.filter(site=site, bank__isnull=False, returned_at=None, retired_at=None,
                              effect=DefectEffect.STOPS).values_list("bank", "number")
    )  # fmt: skip
    return [_state(bank, of_bank[bank.pk], at, age_limit_min, shut.get(bank.pk)) for bank in banks]


def _cylinders(site: Site, at: datetime, bank_pk: int | None) -> Any:
    readings = BankReading.objects.filter(
        Q(cylinder=None) | Q(cylinder=OuterRef("pk")), bank=OuterRef("bank"), retired_at=None, read_at__lte=at
    ).order_by("-read_at", "-id")
    analyses = CylinderAnalysis.objects.filter(cylinder=OuterRef("pk"), retired_at=None, analysed_at__lte=at).order_by(
        "-analysed_at", "-id"
    )
    rows = Cylinder.objects.filter(bank__site=site, retired_at=None)
    if bank_pk is not None:
        rows = rows.filter(bank=bank_pk)
    return rows.order_by("mark").annotate(
        **{f"last_{name}": Subquery(readings.values(name)[:1]) for name in READ},
        warmth_c=Subquery(with_measured(readings, at).values("temperature_c")[:1]),
        analysis=Subquery(analyses.values("result")[:1]),
        analysed_at=Subquery(analyses.values("analysed_at")[:1]),
        analysis_doubted=Subquery(analyses.values("doubted_by")[:1]),
    )


def _state(bank: GasBank, cylinders: list[Any], at: datetime, limit: int, tag: int | None) -> BankState:
    lines = tuple(_line(bank, one) for one in cylinders)
    read = [one.read_at for one in lines if not one.why_not and one.read_at is not None]
    age = int((at - min(read)).total_seconds() // 60) if read else None
    return BankState(bank, lines, age, age is None or age >= limit, "" if tag is None else f"{tag:04d}")


def _line(bank: GasBank, row: Any) -> CylinderLine:
    found, celsius = None, row.last_temperature_c
    measured = row.last_answer is None
    if row.last_read_at is not None:
        if not measured:
            celsius = Decimal(f"{counted_c(None if row.warmth_c is None else float(row.warmth_c)):g}")
        found = sum_of(bank, row.water_litres, (row.last_pressure, row.last_unit, celsius))
    return CylinderLine(
        row, row.last_pressure, row.last_unit or "", celsius, row.last_read_at, measured, found, _why_not(row, found)
    )


def _why_not(row: Any, found: GasSum | None) -> str:
    if row.analysis is None:
        return _("not analysed: counts for nothing")
    if row.analysis_doubted is not None:
        return _("its analysis is in doubt: counts for nothing")
    if row.analysis != AnalysisResult.PASSED:
        return _("refused by its analysis: counts for nothing")
    if row.last_read_at is None:
        return _("never read: not known")
    return "" if found is not None else _("its reading lies outside the gas law: not known, read it again")


def sum_of(bank: GasBank, water_litres: Any, reading: tuple[Any, str, Any]) -> GasSum | None:
    """Return the sum of water capacity [L] at a reading (pressure, unit, degC); None outside the gas law."""
    pressure, unit, temperature_c = reading
    try:
        return gas_sum(
            gas_law(bank.gas), float(water_litres), kpa_of(pressure, unit), float(temperature_c),
            minimum_gauge_kpa=kpa_of(bank.minimum_pressure, bank.gauge_unit),
        )  # fmt: skip
    except (GasError, UnitError):
        return None


def kpa_of(value: Any, unit: str) -> float:
    """Return a gauge pressure in kPa gauge. Errors: UnitError."""
    return float(kpa_from(Decimal(value), unit, units()))


def expected_after_hook_up(state: BankState, temperature_c: Decimal) -> Decimal | None:
    """Return what the bank's gauge should show with all its cylinders open to each other, in its own unit.

    From the last reading of each cylinder, whether it counts or not: gas that is not counted is there all the same.
    One whose temperature nobody measured is taken to have that of the gauge's reading.
    None if one of them was never read, or lies outside the gas law.
    """
    parts = []
    for one in state.lines:
        if one.pressure is None or one.temperature_c is None:
            return None
        celsius = float(one.temperature_c if one.measured else temperature_c)
        parts.append((float(one.row.water_litres), kpa_of(one.pressure, one.unit), celsius))
    try:
        kpa = equalised_gauge_kpa(gas_law(state.bank.gas), parts, float(temperature_c))
    except (GasError, ValueError):
        return None
    factor = kpa_of(1, state.bank.gauge_unit)
    return Decimal(str(round(kpa / factor, 1)))


def courses(states: Iterable[BankState], at: datetime, days: int = COURSE_DAYS) -> dict[int, list[tuple[Any, float]]]:
    """Return the content of each bank over time, from readings of the whole bank, in one query.

    Reckoned with the cylinders that count today, so that one line is comparable; litres at 15 degC and 1 atm. A reading
    without a temperature is reckoned at that of the nearest one that has one.
    """
    known = {one.bank.pk: one for one in states}
    rows = BankReading.objects.filter(
        bank__in=known, cylinder=None, retired_at=None, read_at__lte=at, read_at__gte=at - timedelta(days=days)
    ).order_by("read_at", "id")
    found: dict[int, list[tuple[Any, float]]] = {pk: [] for pk in known}
    water = {pk: sum((one.row.water_litres for one in state.counting), Decimal(0)) for pk, state in known.items()}
    read = list(rows.values_list("bank", *READ))
    warmth: dict[int, list[tuple[datetime, float]]] = defaultdict(list)
    for pk, _pressure, _unit, celsius, read_at, answer in read:
        if answer is None:
            warmth[pk].append((read_at, float(celsius)))
    for pk, pressure, unit, celsius, read_at, answer in read:
        taken = celsius if answer is None else nearest_c(warmth[pk], read_at)
        if water[pk] and (content := sum_of(known[pk].bank, water[pk], (pressure, unit, taken))) is not None:
            found[pk].append((read_at, content.usable_litres))
    return found


def hand_sum(one: Worked, *, kept_back: bool = False) -> str:
    """Return the sum with its numbers put in, so that it can be worked by hand."""
    side = one.sum.kept_back if kept_back else one.sum.full
    return _("%(p).1f kPa abs · %(v)s L · %(m)s kg/mol / (%(z).4f · %(r)s J/(mol K) · %(t).2f K) = %(kg).3f kg") % {
        "p": side.absolute_kpa, "v": f"{one.sum.water_litres:g}", "m": one.molar_mass, "z": side.z,
        "r": GAS_CONSTANT, "t": one.kelvin, "kg": side.kilograms,
    }  # fmt: skip
