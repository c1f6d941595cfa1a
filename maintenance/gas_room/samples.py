"""A sample of breathing gas: judged by every limit set of its gas, and recorded as the act that asked for it."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils.translation import gettext as _

from facility import services
from maintenance.gas_room.analysers import fitness_of
from maintenance.gas_room.limits import adopted_set, judge_gas, sample_of
from maintenance.gas_room.states import gas_reasons
from maintenance.models import WorkKind, WorkRecord, WorkResult
from maintenance.services import record_work

if TYPE_CHECKING:
    from collections.abc import Mapping
    from decimal import Decimal

    from facility.events import Actor
    from maintenance.models import GasSample, IntervalRule

RESULTS = {True: WorkResult.PASSED, False: WorkResult.FAILED, None: WorkResult.UNREAD}


@transaction.atomic
def take_sample(
    sample: GasSample, measured: Mapping[str, Decimal], rule: IntervalRule | None, house: Mapping[str, Decimal], *,
    by: Actor, late: bool = False,
) -> GasSample:  # fmt: skip
    """Store a sample with what each limit set says of it, and, under a rule, the act on its item.

    A sample that fails is stored all the same; it should lead on to a defect. One that lacks a parameter of the
    adopted set, or was measured with an analyser that does not count, is no pass.
    Errors: ValidationError if a field refuses it.
    """
    adopted = adopted_set(sample.gas, house)
    judged = judge_gas(sample.gas, sample_of(measured, sample.odour, sample.point, sample.pressure_bar), adopted)
    faults = list(fitness_of(sample.analyser, sample.taken_at).faults) if sample.analyser else []
    sample.judged = judged | {"analyser_faults": faults}
    sample.adopted_set = judged["adopted"]
    sample.passed = None if faults and judged["passed"] else judged["passed"]
    sample.values = {name: f"{value:f}" for name, value in measured.items()}
    sample.occurred_at = sample.taken_at
    if rule is not None:
        sample.work = record_work(_work(sample, rule), by=by, late=late)
    return services.add(sample, by=by, action="gas sample recorded", late=late)


def _work(sample: GasSample, rule: IntervalRule) -> WorkRecord:
    zone = ZoneInfo(sample.site.zone)
    reasons = " ".join(reasons_of(sample))
    return WorkRecord(
        equipment=rule.equipment, rule=rule, kind=WorkKind.INSPECTION, result=RESULTS[sample.passed],
        done_on=sample.taken_at.astimezone(zone).date(), done_by=sample.taken_by, evidence=sample.evidence,
        note=(_("Gas sample, %s.") % sample.judged.get("adopted_title", "") + f" {reasons}")[:500].strip(),
        readings=_readings(sample), occurred_at=sample.taken_at,
    )  # fmt: skip


def _readings(sample: GasSample) -> list[dict[str, str]]:
    """Return the values beside the adopted set's limits, in the shape that records of work keep."""
    own = next((one for one in sample.judged["sets"] if one["key"] == sample.judged["adopted"]), None)
    return [
        {"name": row["parameter"], "value": row["value"], "unit": row["unit"], "low": row["low"], "high": row["high"],
         "outcome": row["outcome"]}
        for row in (own["rows"] if own else []) if row["value"]
    ]  # fmt: skip


def reasons_of(sample: GasSample) -> list[str]:
    """Return why a sample is no pass; none if it passed."""
    if sample.passed:
        return []
    return [*gas_reasons(sample.judged, sample.values.get("o2")), *sample.judged.get("analyser_faults", [])]
