"""Storing references, their certificates and comparisons: each change with its event in one transaction."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services
from facility.fields import day_text
from maintenance.calibrating.judging import judged
from maintenance.models import (
    Calibration,
    Happening,
    HappeningKind,
    Reference,
    ReferenceCertificate,
    WorkKind,
    WorkRecord,
)
from maintenance.services import correct_work, record_work, same_person

if TYPE_CHECKING:
    from datetime import date
    from decimal import Decimal

    from facility.events import Actor
    from facility.models import Evidence
    from maintenance.models import Equipment, IntervalRule

LONGEST_CHAIN = 20


def add_reference(reference: Reference, *, by: Actor) -> Reference:
    """Store a reference.

    Errors: ValidationError if a field refuses it, the item is of another site, or a loan has no day of return.
    """
    if reference.equipment is not None and reference.equipment.site_id != reference.site_id:
        raise ValidationError({"equipment": _("This item belongs to another site. Choose one of this site.")})
    if reference.owner and reference.return_by is None:
        raise ValidationError({"return_by": _("It is on loan from %(owner)s: give the day by which it goes back.")
                               % {"owner": reference.owner}})  # fmt: skip
    return services.add(reference, by=by, action="reference added")


def add_certificate(certificate: ReferenceCertificate, *, by: Actor) -> ReferenceCertificate:
    """Store a certificate as printed. One read off a scan counts once a second person has confirmed its dates.

    Errors: ValidationError if a field refuses it, its days are crossed, or it would rest on itself.
    """
    if certificate.due_on is not None and certificate.due_on < certificate.calibrated_on:
        raise ValidationError({"due_on": _("%(due)s lies before the day of calibration, %(on)s. Read both days again.")
                               % {"due": day_text(certificate.due_on), "on": day_text(certificate.calibrated_on)}})  # fmt: skip
    _refuse_circle(certificate)
    certificate.needs_second_look = certificate.evidence_id is not None
    return services.add(certificate, by=by, action="certificate added")


def _refuse_circle(certificate: ReferenceCertificate) -> None:
    below = certificate.rests_on
    if below is None:
        return
    if below.reference.site_id != certificate.reference.site_id:
        raise ValidationError({"rests_on": _("This certificate is of another site. Choose one of this site.")})
    if below.calibrated_on > certificate.calibrated_on:
        raise ValidationError({"rests_on": _("Certificate %(number)s is of %(on)s, later than this one. Choose the one"
                                             " that held on the day of calibration.")
                               % {"number": below.number, "on": day_text(below.calibrated_on)}})  # fmt: skip
    for _step in range(LONGEST_CHAIN):
        if below is None:
            return
        if below.reference_id == certificate.reference_id:
            raise ValidationError({"rests_on": _("%(reference)s would rest on itself. Choose a certificate of another"
                                                 " reference.") % {"reference": certificate.reference}})  # fmt: skip
        below = below.rests_on


def second_look(certificate: ReferenceCertificate, *, by: Actor, shown_version: int) -> ReferenceCertificate:
    """Keep that another person read the same days and figures off the scan.

    Errors: ValidationError for the person who read it first; ChangedMeanwhileError.
    """
    if same_person(by.name, certificate.recorded_by):
        raise ValidationError(
            _("%(name)s read it first. The second look must be another person's.") % {"name": by.name}
        )
    certificate.second_look_by, certificate.second_look_at = by.name, events.now()
    return services.change(
        certificate, by=by, reason=_("Read a second time from the paper."), shown_version=shown_version,
        action="second look",
    )  # fmt: skip


@transaction.atomic
def record(
    row: Calibration, rule: IntervalRule | None, *, by: Actor, evidence: Evidence | None = None, late: bool = False
) -> Calibration:
    """Store a comparison, what it comes to as on that day, and its record of work.

    Errors: ValidationError if a field refuses it or the rule is of another item; InputError for an unknown class.
    """
    row.computed = row.computed or judged(row)
    row.work = record_work(_work_of(row, rule, evidence), by=by, late=late)
    return services.add(row, by=by, action="compared", late=late)


@transaction.atomic
def correct(
    old: Calibration, new: Calibration, rule: IntervalRule | None, *, by: Actor, reason: str,
    evidence: Evidence | None = None,
) -> Calibration:  # fmt: skip
    """Put a corrected comparison in the place of another; it is judged anew, by the certificates as known now.

    Errors: ValidationError as in record(); ChangedMeanwhileError if ``old`` no longer counts.
    """
    new.computed = new.computed or judged(new)
    work = _work_of(new, rule, evidence or old.work.evidence)
    new.work = correct_work(old.work, work, by=by, reason=reason)
    services.supersede(old, new, by=by, reason=reason)
    return new


def _work_of(row: Calibration, rule: IntervalRule | None, evidence: Evidence | None) -> WorkRecord:
    computed = row.computed
    due_on = row.choices.get("due_on") or None
    return WorkRecord(
        equipment=row.equipment, rule=rule, kind=WorkKind.CALIBRATION, done_on=row.done_on, result=computed["result"],
        due_on=due_on, done_by=row.done_by, note=row.note, evidence=evidence,
        needs_second_look=bool(row.laboratory and evidence),
        details={"unit": row.unit, "certificate": computed.get("certificate", {}).get("number", "")},
        computed={name: computed[name] for name in ("past", "onward", "look_back", "against")},
    )  # fmt: skip


@transaction.atomic
def note_disagreement(
    items: tuple[Equipment, Equipment], on: date, difference: tuple[Decimal, Decimal, str], *, by: Actor
) -> list[Happening]:
    """Keep on both items that they disagree by ``difference`` (found, limit, unit): a rule so triggered falls due."""
    clocks = items[0].kind == "clock"
    found, limit, unit = difference
    kind = HappeningKind.CLOCKS_DISAGREE if clocks else HappeningKind.GAUGES_DISAGREE
    rows = []
    for one, other in (items, items[::-1]):
        note = _("%(found)s %(unit)s from %(other)s; limit %(limit)s %(unit)s") % {
            "found": found, "unit": unit, "other": other.tag, "limit": limit,
        }  # fmt: skip
        row = Happening(equipment=one, kind=kind, happened_on=on, note=note[:500], reported_by=by.name)
        rows.append(services.add(row, by=by, action=str(kind.value)))
    return rows
