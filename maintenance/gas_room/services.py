"""What happens to a delivered cylinder: in quarantine, analysed, accepted into a bank or refused, hooked up."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services
from facility.compute.units import kpa_from
from facility.reference import units
from maintenance.gas_room.analysers import fitness_of
from maintenance.gas_room.limits import adopted_set, judge_gas, sample_of
from maintenance.gas_room.states import why_not
from maintenance.models import (
    AnalysisResult,
    BankReading,
    Cylinder,
    CylinderAnalysis,
    DeliveredCylinder,
    Delivery,
    QuarantineState,
)
from maintenance.services import record_reading

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from decimal import Decimal

    from facility.events import Actor
    from facility.models import Evidence
    from maintenance.models import Equipment, GasBank

DECIDED = (QuarantineState.ACCEPTED, QuarantineState.REFUSED)


@dataclass(frozen=True, slots=True)
class Analysis:
    """An analysis as typed: who, when, with which analyser, at which pressure, what was found.

    Units: pressure gauge in ``unit``; ``values`` in the units of the limit sets, ``o2`` in %.
    """

    at: datetime
    by: str
    analyser: Equipment | None
    pressure: Decimal
    unit: str
    pressure_bar: Decimal
    temperature_c: Decimal
    values: Mapping[str, Decimal]
    odour: str = ""
    certificate: Evidence | None = None


@dataclass(frozen=True, slots=True)
class HookUp:
    """What a bank's gauge showed after hook-up, beside the sum of its cylinders, all in the gauge's unit."""

    reading: BankReading
    compared: dict[str, Any] = field(default_factory=dict)


def add_delivery(delivery: Delivery, *, by: Actor, late: bool = False) -> Delivery:
    """Store that cylinders came in. Errors: ValidationError if a field refuses it."""
    delivery.occurred_at = delivery.received_at
    return services.add(delivery, by=by, action="delivery received", late=late)


def add_delivered(cylinder: DeliveredCylinder, *, by: Actor) -> DeliveredCylinder:
    """Put one delivered cylinder into quarantine. Errors: ValidationError if a field refuses it."""
    return services.add(cylinder, by=by, action="put into quarantine")


def analyse(row: DeliveredCylinder, found: Analysis, house: Mapping[str, Decimal], *, by: Actor,
            shown_version: int) -> DeliveredCylinder:  # fmt: skip
    """Keep an analysis of a cylinder in quarantine, with what each limit set says of it as on that day.

    It passes only if the adopted set passes it and the analyser may be believed; it is kept either way.
    Errors: ValidationError if it was decided on already; ChangedMeanwhileError if somebody was faster.
    """
    _refuse_decided(row)
    gas = row.delivery.gas
    fitness = fitness_of(found.analyser, found.at)
    judged = judge_gas(gas, sample_of(found.values, found.odour, "bank", found.pressure_bar), adopted_set(gas, house))
    judged["analyser_faults"] = list(fitness.faults)
    judged["analyser_good_until"] = fitness.good_until.isoformat() if fitness.good_until else ""
    judged["certificate"] = found.certificate.pk if found.certificate else None
    row.analysed_at, row.analysed_by, row.analyser = found.at, found.by, found.analyser
    row.pressure, row.unit, row.temperature_c = found.pressure, found.unit, found.temperature_c
    row.oxygen_percent = found.values.get("o2")
    row.values = {name: f"{value:f}" for name, value in found.values.items()} | {"odour": found.odour}
    row.judged = judged
    row.passed = judged["passed"] if fitness.counts else (False if judged["passed"] is False else None)
    row.state = QuarantineState.ANALYSED
    reason = _("oxygen %(percent)s %%, %(analyser)s") % {
        "percent": row.oxygen_percent, "analyser": found.analyser.tag if found.analyser else _("no analyser named"),
    }  # fmt: skip
    return services.change(row, by=by, reason=reason, shown_version=shown_version, action="gas analysed")


@transaction.atomic
def accept(row: DeliveredCylinder, bank: GasBank, *, by: Actor, shown_version: int) -> Cylinder:
    """Take an analysed cylinder into a bank: the cylinder, its analysis and its reading, all or nothing.

    Errors: ValidationError naming why it cannot count; ChangedMeanwhileError if somebody was faster.
    """
    read = _acceptable(row, bank)
    cylinder = services.add(
        Cylinder(bank=bank, mark=row.mark, water_litres=row.water_litres, tested_on=row.tested_on,
                 test_due_on=row.test_due_on),
        by=by, action="accepted into the bank",
    )  # fmt: skip
    services.add(
        CylinderAnalysis(
            cylinder=cylinder, analysed_at=read.at, result=AnalysisResult.PASSED, analyser=row.analyser,
            oxygen_percent=row.oxygen_percent, analysed_by=row.analysed_by, values=row.values, judged=row.judged,
            evidence_id=row.judged.get("certificate"), occurred_at=read.at,
        ),
        by=by, action="analysis taken over",
    )  # fmt: skip
    record_reading(
        BankReading(bank=bank, cylinder=cylinder, read_at=read.at, pressure=read.pressure, unit=row.unit,
                    temperature_c=read.temperature_c, read_by=row.analysed_by),
        by=by,
    )  # fmt: skip
    row.state, row.cylinder = QuarantineState.ACCEPTED, cylinder
    row.decided_by, row.decided_at = by.name, events.now()
    reason = _("into %s") % bank.name
    services.change(row, by=by, reason=reason, shown_version=shown_version, action="cylinder accepted")
    return cylinder


@dataclass(frozen=True, slots=True)
class _Read:
    """What acceptance needs of a cylinder: when it was analysed, pressure and temperature then."""

    at: datetime
    pressure: Decimal
    temperature_c: Decimal


def _acceptable(row: DeliveredCylinder, bank: GasBank) -> _Read:
    """Return what was read of a cylinder that may be accepted. Errors: ValidationError naming why it may not."""
    _refuse_decided(row)
    if bank.site_id != row.delivery.site_id:
        raise ValidationError({"bank": _("This bank belongs to another site. Choose one of this site.")})
    if bank.gas != row.delivery.gas:
        raise ValidationError({"bank": _("%(bank)s is for %(its)s, this cylinder is labelled %(gas)s.") % {
            "bank": bank.name, "its": bank.gas, "gas": row.delivery.gas}})  # fmt: skip
    if row.passed is not True:
        reasons = " ".join(why_not(row)) or _("It was not analysed yet.")
        raise ValidationError(_("It cannot count: %s") % reasons, code="not passed")
    if row.analysed_at is not None and (faults := fitness_of(row.analyser, row.analysed_at).faults):
        raise ValidationError(_("It cannot count, as is known now: %s Analyse it again.") % " ".join(faults))
    if row.analysed_at is None or row.pressure is None or row.temperature_c is None:
        raise ValidationError(_("Read its pressure and temperature first: analyse it again with both."))
    return _Read(row.analysed_at, row.pressure, row.temperature_c)


def refuse(row: DeliveredCylinder, because: str, photo: Evidence | None, *, by: Actor,
           shown_version: int) -> DeliveredCylinder:  # fmt: skip
    """Refuse a delivered cylinder, with the reason and a photo.

    Errors: ValidationError if it was decided on already or without a reason; ChangedMeanwhileError.
    """
    _refuse_decided(row)
    row.state, row.refused_because, row.photo = QuarantineState.REFUSED, because.strip(), photo
    row.decided_by, row.decided_at = by.name, events.now()
    return services.change(row, by=by, reason=because, shown_version=shown_version, action="cylinder refused")


@transaction.atomic
def hook_up(row: DeliveredCylinder, found: HookUp, explanation: str, *, by: Actor,
            shown_version: int) -> DeliveredCylinder:  # fmt: skip
    """Keep what the bank's gauge showed after hook-up, compared with the sum of its cylinders.

    Errors: ValidationError if a field refuses it; ChangedMeanwhileError if somebody was faster.
    """
    record_reading(found.reading, by=by)
    row.judged = row.judged | {"hook_up": found.compared | {"explanation": explanation.strip()}}
    reason = _("gauge %(found)s, sum of the cylinders %(expected)s %(unit)s. %(why)s") % (
        found.compared | {"why": explanation.strip()}
    )
    return services.change(row, by=by, reason=reason[:500], shown_version=shown_version, action="hooked up")


def explain(row: DeliveredCylinder, explanation: str, *, by: Actor, shown_version: int) -> DeliveredCylinder:
    """Keep why the gauge and the sum differ after hook-up. Errors: ValidationError without one."""
    explanation = services.need_reason(explanation)
    row.judged = row.judged | {"hook_up": row.judged["hook_up"] | {"explanation": explanation}}
    return services.change(row, by=by, reason=explanation, shown_version=shown_version, action="hook-up explained")


def in_bar(pressure: Decimal, unit: str) -> Decimal:
    """Return a gauge pressure in bar gauge, as the limit sets count it. Errors: UnitError."""
    return kpa_from(pressure, unit, units()) / 100


def _refuse_decided(row: DeliveredCylinder) -> None:
    if row.state in DECIDED:
        raise ValidationError(_("%(mark)s is %(state)s already, by %(who)s.") % {
            "mark": row.mark, "state": row.get_state_display(), "who": row.decided_by}, code="decided")  # fmt: skip
