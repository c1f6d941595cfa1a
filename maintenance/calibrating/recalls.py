"""Recalls: what rested on a bad thing is put in doubt, and each thing is answered for by a person."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import services
from maintenance.calibrating import reach
from maintenance.calibrating.reach import ANALYSIS, CALIBRATION, CERTIFICATE, DELIVERED, SAMPLE
from maintenance.calibrating.trail import newest_work
from maintenance.models import (
    Calibration,
    CylinderAnalysis,
    DeliveredCylinder,
    Equipment,
    GasSample,
    Recall,
    RecallAnswer,
    ReferenceCertificate,
    WorkResult,
)

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from facility.events import Actor
    from facility.models import Kept, Site
    from maintenance.compute.recall import Reached, Span

JOINS = {
    CALIBRATION: (Calibration, ("equipment", "certificate__reference", "work")),
    CERTIFICATE: (ReferenceCertificate, ("reference",)),
    ANALYSIS: (CylinderAnalysis, ("cylinder__bank", "analyser")),
    DELIVERED: (DeliveredCylinder, ("delivery", "analyser")),
    SAMPLE: (GasSample, ("analyser", "equipment", "bank")),
}
ORDER = tuple(JOINS)


@dataclass(frozen=True, slots=True)
class Subject:
    """One thing in doubt: its kind, its row, its day, and the answer to it, None while it is open."""

    kind: str
    row: Any
    on: date
    answer: RecallAnswer | None

    @property
    def key(self) -> str:
        """Return kind and number in one text, for a form."""
        return f"{self.kind}:{self.row.pk}"


@transaction.atomic
def start(recall: Recall, *, by: Actor) -> Recall:
    """Store a recall and put everything in doubt that rested on the bad thing since its last good day.

    Errors: ValidationError if a field refuses it or the thing is of another site.
    """
    thing = recall.reference or recall.equipment
    if thing is not None and thing.site_id != recall.site_id:
        raise ValidationError(_("This one belongs to another site. Choose one of this site."))
    services.add(recall, by=by, action="recalled")
    for kind, pk in keys_of(reach.reach_of(recall)):
        doubt(kind, pk, recall, by=by)
    return recall


def keys_of(found: Reached) -> list[tuple[str, int]]:
    """Return kind and number of everything reached, in the order of the page."""
    keys = {(CALIBRATION, pk) for pk in found.comparisons} | {(CERTIFICATE, pk) for pk in found.certificates}
    return sorted(keys | found.uses, key=lambda one: (ORDER.index(one[0]), one[1]))


def doubted_row(kind: str, pk: int) -> Kept | None:
    """Return the row that carries the doubt of a thing; a certificate and a delivered cylinder carry none."""
    if kind == CALIBRATION:
        return newest_work(Calibration.objects.select_related("work__superseded_by").get(pk=pk).work)
    model = {ANALYSIS: CylinderAnalysis, SAMPLE: GasSample}.get(kind)
    return model.objects.get(pk=pk) if model else None


def doubt(kind: str, pk: int, recall: Recall, *, by: Actor) -> None:
    """Put a thing in doubt. One that is in doubt already by an earlier recall stays so."""
    row: Any = doubted_row(kind, pk)
    if row is None or row.doubted_by_id is not None:
        return
    row.doubted_by = recall
    services.change(row, by=by, reason=_("Rests on %(thing)s, recalled: %(why)s") % {
        "thing": recall.reference or recall.equipment, "why": recall.why,
    }, shown_version=row.row_version, action="put in doubt")  # fmt: skip


def subjects(recall: Recall) -> list[Subject]:
    """Return everything that a recall reaches as the records stand now, with the answers so far."""
    zone = ZoneInfo(recall.site.zone)
    answers = {(one.subject_kind, one.subject_id): one
               for one in RecallAnswer.objects.current().filter(recall=recall)}  # fmt: skip
    keys = set(keys_of(reach.reach_of(recall))) | set(answers)
    found = []
    for kind, (model, joins) in JOINS.items():
        wanted = {pk for one, pk in keys if one == kind}
        rows = model.objects.filter(pk__in=wanted).select_related(*joins) if wanted else []
        found += [Subject(kind, row, day_of(row, zone), answers.get((kind, row.pk))) for row in rows]
    return sorted(found, key=lambda one: (ORDER.index(one.kind), one.on, one.row.pk))


def day_of(row: Any, zone: ZoneInfo) -> date:
    """Return the civil day of a thing in doubt."""
    for name in ("done_on", "calibrated_on"):
        if (day := getattr(row, name, None)) is not None:
            return day  # type: ignore[no-any-return]  # a date of the row
    at = getattr(row, "analysed_at", None) or row.taken_at
    return at.astimezone(zone).date()  # type: ignore[no-any-return]  # an instant of the row


@transaction.atomic
def answer(recall: Recall, chosen: Iterable[Subject], decision: tuple[bool, str], *, by: Actor) -> int:
    """Keep what was decided on things in doubt, and lift the doubt from those that stand after all.

    ``decision``: whether they stand, and why. Returns how many were answered.
    Errors: ValidationError without a reason, for a thing that was answered already, or one said to be done again of
    which no newer good record is there.
    """
    stands, why = decision
    count = 0
    for subject in chosen:
        if subject.answer is not None:
            raise ValidationError(_("%(what)s was answered by %(who)s already. Look at the list again.")
                                  % {"what": subject.row, "who": subject.answer.decided_by})  # fmt: skip
        if not stands and not _done_again(subject, recall):
            raise ValidationError(_("%(what)s: no newer good record is there that rests on something else. Record it"
                                    " first.") % {"what": subject.row})  # fmt: skip
        services.add(
            RecallAnswer(recall=recall, subject_kind=subject.kind, subject_id=subject.row.pk, stands=stands,
                         why=services.need_reason(why), decided_by=by.name),
            by=by, action="stands after all" if stands else "done again",
        )  # fmt: skip
        if stands:
            _lift(subject, recall, why, by=by)
        count += 1
    return count


def _lift(subject: Subject, recall: Recall, why: str, *, by: Actor) -> None:
    row: Any = doubted_row(subject.kind, subject.row.pk)
    if row is None or row.doubted_by_id != recall.pk:
        return
    row.doubted_by = _other_doubt(subject, recall)
    services.change(row, by=by, reason=why, shown_version=row.row_version, action="stands after all")


def _other_doubt(subject: Subject, recall: Recall) -> Recall | None:
    """Return another recall that reaches the same thing and was not answered for it."""
    key = (subject.kind, subject.row.pk)
    for other in Recall.objects.current().filter(site=recall.site).exclude(pk=recall.pk).select_related("site"):
        given = other.answers.filter(retired_at=None, subject_kind=key[0], subject_id=key[1])
        if key in keys_of(reach.reach_of(other)) and not given.exists():
            return other
    return None


def _done_again(subject: Subject, recall: Recall) -> bool:
    """Return whether a newer good record of the same thing is there, itself in no doubt."""
    row, kind = subject.row, subject.kind
    if kind == CALIBRATION:
        newer = Calibration.objects.current().filter(equipment=row.equipment_id, done_on__gte=subject.on)
        newer = newer.exclude(pk=row.pk).filter(work__result=WorkResult.PASSED, work__doubted_by=None)
        return newer.exists()
    if kind == CERTIFICATE:
        bad = reach.reach_of(recall).certificates
        certificates = ReferenceCertificate.objects.current().filter(
            reference=row.reference_id, passed=True, calibrated_on__gte=subject.on
        )
        return certificates.exclude(pk__in=bad | {row.pk}).exists()
    if kind == ANALYSIS:
        analyses = CylinderAnalysis.objects.current().filter(cylinder=row.cylinder_id, doubted_by=None)
        return analyses.filter(analysed_at__gt=row.analysed_at).exists()
    if kind == SAMPLE:
        samples = GasSample.objects.current().filter(site=row.site_id, gas=row.gas, point=row.point, doubted_by=None)
        return samples.filter(taken_at__gt=row.taken_at, equipment=row.equipment_id, bank=row.bank_id).exists()
    return row.cylinder_id is not None or row.state == "refused"


def open_recalls(site: Site) -> list[tuple[Recall, int]]:
    """Return the recalls of a site with how many things of each are still open, newest first."""
    rows = Recall.objects.current().filter(site=site).select_related("site", "reference", "equipment")
    return [(row, sum(one.answer is None for one in subjects(row))) for row in rows]


def spans_in_doubt(recall: Recall) -> list[tuple[Equipment, Span]]:
    """Return the instruments in doubt with the days; a higher floor finds the runs that read them by these."""
    spans = sorted(reach.reach_of(recall).spans, key=lambda one: (one.first, one.equipment))
    items = Equipment.objects.in_bulk({one.equipment for one in spans})
    return [(items[one.equipment], one) for one in spans]
