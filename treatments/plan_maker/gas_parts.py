"""The gas of a plan worked out line by line: oxygen by mask, and air. Litres at 15 degC and 1 atm."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from treatments.compute.tables import OXYGEN
from treatments.plan_maker.sums import Line, Part, Value, joined, shown, terms, typed_value, value_of
from treatments.plan_maker.working import kg_of, litres_per_cubic_foot
from treatments.reference import figures
from treatments.reference.laws import atmosphere

if TYPE_CHECKING:
    from collections.abc import Iterable

    from treatments.compute.tables import Segment
    from treatments.plan_maker.working import Amount, Worked


def oxygen_part(worked: Worked, table_values: tuple[Value, ...]) -> Part:
    """Return the oxygen breathed by mask: patients by the table, tenders what they owe, the reserve."""
    asking, oxygen = worked.asking, worked.demand.oxygen
    volume = shown(asking.minute_volume, 3)
    rests = (typed_value(asking.minute_volume, figures("plans")["minute_volume"]), *_laws("atmosphere.fsw"))
    patient = _breathed((one for one in worked.demand.run.segments if one.gas == OXYGEN), volume, oxygen.patient_scf)
    lines = [
        Line(_("One patient"), scf(oxygen.patient_scf), patient, rests + table_values),
        Line(ngettext("%(n)d patient", "%(n)d patients", asking.patients) % {"n": asking.patients}, scf(asking.patients * oxygen.patient_scf),
             f"{asking.patients} · {scf(oxygen.patient_scf)}"),
    ]  # fmt: skip
    if asking.tenders:
        lines += _tenders(worked, volume, rests)
    summed = [one.figure for one in lines[1::2]]
    lines += _totals(worked, worked.amounts[0], joined(summed), emergency_scf=0.0)
    notes = [_("Masks without leakage; the minute volume is a planning figure, keep your own.")]
    if oxygen.patient_scf == 0:
        notes.append(_("The table lists air only; oxygen breathed on it is not stated."))
    return Part("oxygen", _("Oxygen by mask"), tuple(lines), tuple(notes))


def _tenders(worked: Worked, volume: str, rests: tuple[Value, ...]) -> list[Line]:
    oxygen, tenders = worked.demand.oxygen, worked.asking.tenders
    if oxygen.tender_scf is None:
        words = _("The handbook does not state it for this table and party. Type what your physician asks for.")
        return [Line(_("One tender, owed"), shown(None), words, ())]
    name = worked.found.table.key.removesuffix("-older")
    stated = tuple(value_of(one) for key, one in figures("tender").items() if key.startswith(f"oxygen.{name}."))
    if worked.asking.tender_minutes is not None:
        words = _("oxygen of each tender before surfacing")
        stated = ((shown(worked.asking.tender_minutes), "min", words, _("typed for this plan"), True),)
    each = _breathed(oxygen.tender_segments, volume, oxygen.tender_scf)
    owed = _("One tender, %s min owed") % shown(oxygen.tender_min)
    return [
        Line(owed, scf(oxygen.tender_scf), each, rests + stated),
        Line(ngettext("%(n)d tender", "%(n)d tenders", tenders) % {"n": tenders}, scf(tenders * oxygen.tender_scf),
             f"{tenders} · {scf(oxygen.tender_scf)}"),
    ]  # fmt: skip


def air_part(worked: Worked, table_values: tuple[Value, ...]) -> Part:
    """Return the air: locks filled, ventilation, emergency air and reserve."""
    air = worked.demand.air
    lines = [*_fillings(worked), _ventilation(worked, table_values)]
    summed = joined([one.figure for one in lines])
    lines += _totals(worked, worked.amounts[1], summed, emergency_scf=air.emergency_scf)
    notes = [
        _("The rate rests on who breathes oxygen and who chamber air, minute by minute; the descent is not counted.")
    ]
    if not worked.asking.dump and air.ventilation_scf > air.masked_scf + 1e-6:
        notes.append(
            _("Counting only the people on oxygen, as the handbook says, gives %(masked)s; the air rates for everyone"
              " give %(rates)s. At each minute the larger is taken.")
            % {"masked": scf(air.masked_scf), "rates": scf(air.air_rates_scf)}
        )  # fmt: skip
    if worked.demand.oxygen.tender_min is None and worked.asking.tenders:
        notes.append(_("Oxygen of the tenders is not stated: here they breathe chamber air throughout."))
    return Part("air", _("Air"), tuple(lines), tuple(notes))


def _fillings(worked: Worked) -> list[Line]:
    air, asking, locks = worked.demand.air, worked.asking, worked.locks
    depth, fsw = shown(worked.demand.deepest_fsw), shown(atmosphere().fsw)
    volumes = tuple(
        (shown(float(one.volume), 3), one.get_volume_unit_display(), one.name, _("record of the lock"), True)
        for one in worked.compartments
    )
    rests = volumes + _laws("atmosphere.fsw", "litres_per_cubic_foot")
    planning = figures("plans")
    rows = (
        (_("Inner lock filled once"), locks.inner, 1, air.inner_scf, ()),
        (_("Outer lock filled, %d times") % asking.outer_fills, locks.outer, asking.outer_fills, air.outer_scf,
         (typed_value(asking.outer_fills, planning["outer_fills"]),)),
        (_("Medical lock filled, %d times") % asking.medical_fills, locks.medical, asking.medical_fills,
         air.medical_scf, (typed_value(asking.medical_fills, planning["medical_fills"]),)),
    )  # fmt: skip
    return [
        Line(words, scf(amount), f"{count} · {shown(volume)} ft³ · {depth} fsw / {fsw} fsw = {scf(amount)}",
             rests + more)
        for words, volume, count, amount, more in rows if volume
    ]  # fmt: skip


def _ventilation(worked: Worked, table_values: tuple[Value, ...]) -> Line:
    air, asking = worked.demand.air, worked.asking
    parts = ((one.minutes, one.acfm, (one.start_fsw + one.end_fsw) / 2) for one in air.stretches)
    formula = f"{terms(parts, atmosphere().fsw)} = {scf(air.ventilation_scf)}"
    rates = tuple(value_of(one) for key, one in figures("ventilation").items() if key.startswith(("air.", "mask.")))
    words = _("Ventilation, with a dump") if asking.dump else _("Ventilation, without a dump")
    return Line(words, scf(air.ventilation_scf), formula, rates + table_values)


def _totals(worked: Worked, amount: Amount, summed: str, *, emergency_scf: float) -> list[Line]:
    """Return demand, emergency air, reserve and what a bank must hold; ``summed``: the amounts drawn, as a sum."""
    if amount.demand_scf is None or amount.reserve_scf is None:
        words = _("Without the oxygen of the tenders no total can be said.")
        return [Line(_("A bank must hold"), shown(None), words, (), "end")]
    found = [_total(_("Demand of one run"), amount, amount.demand_scf, summed, "tot")]
    share = amount.reserve_scf - emergency_scf
    percent = worked.asking.reserve_percent
    if emergency_scf:
        found.append(_emergency(worked, emergency_scf))
    said = f"{shown(percent)} / 100 · {scf(amount.demand_scf)} = {scf(share)}"
    found.append(
        Line(_("Reserve, %s %% of the demand") % shown(percent), scf(share), said,
             (typed_value(percent, figures("plans")["reserve"]),))
    )  # fmt: skip
    whole = amount.demand_scf + amount.reserve_scf
    litres = f"{shown(amount.demand)} L + {shown(amount.reserve)} L"
    return [*found, _total(_("A bank must hold"), amount, whole, litres, "end", amount.needed)]


def _emergency(worked: Worked, emergency_scf: float) -> Line:
    asking, fsw = worked.asking, shown(atmosphere().fsw)
    said = (
        f"{worked.people} · {shown(asking.emergency_volume, 3)} acfm · {shown(asking.emergency_minutes)} min"
        f" · ({shown(worked.demand.deepest_fsw)} + {fsw}) / {fsw} = {scf(emergency_scf)}"
    )
    planning = figures("plans")
    rests = (
        typed_value(asking.emergency_minutes, planning["emergency.minutes"]),
        typed_value(asking.emergency_volume, planning["emergency.volume"]),
    )
    return Line(_("Emergency air by mask, kept back"), scf(emergency_scf), said, rests + _laws("atmosphere.fsw"))


def _total(words: str, amount: Amount, value: float, how: str, kind: str, litres: int | None = None) -> Line:
    whole = amount.demand if litres is None else litres
    kg = kg_of(amount.gas, value)
    factor = litres_per_cubic_foot()
    formula = f"{how} = {scf(value)}; · {shown(factor, 4)} L/ft³ = {shown(whole)} L; {shown(kg, 2)} kg"
    figure = f"{shown(whole)} L, {shown(kg, 1)} kg"
    remark = _("Cubic feet of the handbook's rule are taken as at 15 °C and 1 atm; litres are rounded upwards.")
    return Line(words, figure, formula, _laws("litres_per_cubic_foot"), kind, remark)


def _breathed(segments: Iterable[Segment], volume: str, amount: float) -> str:
    parts = ((one.minutes, 1.0, (one.start_fsw + one.end_fsw) / 2) for one in segments)
    return f"{volume} acfm · [{terms(parts, atmosphere().fsw)}] = {scf(amount)}"


def _laws(*names: str) -> tuple[Value, ...]:
    values = figures("supply")
    return tuple(value_of(values[name]) for name in names)


def scf(value: float) -> str:
    """Return cubic feet at 1 atm with their unit."""
    return f"{shown(value, 1)} scf"
