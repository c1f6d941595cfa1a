"""The trail both ways: from an item to what it rests on, and from a certificate to what rests on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from facility.events import first_events
from maintenance.models import Calibration, CylinderAnalysis, GasSample, ReferenceCertificate

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from maintenance.models import Equipment, WorkRecord

LONGEST = 20


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a trail: what it is, its row, its day, and the last day it is good for (None: none is given)."""

    kind: str
    row: Any
    on: date
    good_until: date | None = None
    depth: int = 0


def newest_work(work: WorkRecord) -> WorkRecord:
    """Return the record of work that stands in the place of this one, itself where it was never superseded."""
    for _step in range(LONGEST):
        after: WorkRecord | None = getattr(work, "superseded_by", None)
        if after is None:
            break
        work = after
    return work


def with_newest_work(rows: Iterable[Calibration]) -> list[Calibration]:
    """Return the comparisons, each with the record of work that counts now; nothing is stored.

    Days that a second person read otherwise put a new record of work in the place of the first.
    Rows fetched with ``work__superseded_by`` cost no further query unless they were superseded twice.
    """
    found = list(rows)
    for row in found:
        row.work = newest_work(row.work)
    return found


def trail_of(equipment: Equipment) -> list[Step]:
    """Return item, newest comparison, certificate, reference's certificate below it, and so on down."""
    newest = (
        Calibration.objects.current()
        .filter(equipment=equipment)
        .select_related("certificate__reference", "work", "equipment")
        .order_by("-done_on", "-pk")
        .first()
    )
    if newest is None:
        return []
    return [Step("calibration", newest, newest.done_on), *_down(newest.certificate, 1)]


def below(certificate: ReferenceCertificate) -> list[Step]:
    """Return a certificate and those that it rests on."""
    return _down(certificate, 0)


def _down(certificate: ReferenceCertificate | None, depth: int) -> list[Step]:
    steps: list[Step] = []
    seen: set[int] = set()
    while certificate is not None and certificate.pk not in seen and len(steps) < LONGEST:
        seen.add(certificate.pk)
        steps.append(
            Step("certificate", certificate, certificate.calibrated_on, certificate.due_on, depth + len(steps))
        )
        if certificate.rests_on_id is None:
            break
        certificate = ReferenceCertificate.objects.select_related("reference").get(pk=certificate.rests_on_id)
    return steps


def rests_on(certificate: ReferenceCertificate) -> list[Step]:
    """Return everything that rests on a certificate, each step below the one it rests on.

    Comparisons made with it, certificates made from it, and what rests on those in turn.
    """
    found: list[Step] = []
    seen: set[int] = set()
    _up([certificate], found, seen, 0)
    return found


def _up(certificates: list[ReferenceCertificate], found: list[Step], seen: set[int], depth: int) -> None:
    new = [one for one in certificates if one.pk not in seen]
    if not new or depth > LONGEST:
        return
    seen |= {one.pk for one in new}
    comparisons = Calibration.objects.current().filter(certificate__in=new).select_related("equipment", "work")
    found += [Step("calibration", one, one.done_on, None, depth + 1) for one in comparisons.order_by("-done_on", "-pk")]
    carried = ReferenceCertificate.objects.current().filter(rests_on__in=new).select_related("reference")
    above = list(carried.order_by("-calibrated_on", "-pk"))
    found += [Step("certificate", one, one.calibrated_on, one.due_on, depth + 1) for one in above]
    _up(above, found, seen, depth + 1)


def numbered(steps: Sequence[Step]) -> list[tuple[Step, int | None]]:
    """Return the steps of a trail, each with the number of the event that stored its row, in a query a kind."""
    rows: dict[str, list[int]] = {}
    for step in steps:
        rows.setdefault(step.row._meta.label_lower, []).append(step.row.pk)
    first = {(label, pk): seq for label, ids in rows.items() for pk, seq in first_events(label, ids).items()}
    return [(step, first.get((step.row._meta.label_lower, step.row.pk))) for step in steps]


def analysed_with(equipment: Equipment, since: date) -> list[Step]:
    """Return analyses and samples found with an analyser since a day, newest first."""
    analyses = CylinderAnalysis.objects.current().filter(analyser=equipment, analysed_at__date__gte=since)
    samples = GasSample.objects.current().filter(analyser=equipment, taken_at__date__gte=since)
    steps = [Step("analysis", one, one.analysed_at.date()) for one in analyses.select_related("cylinder__bank")]
    steps += [Step("sample", one, one.taken_at.date()) for one in samples]
    return sorted(steps, key=lambda one: one.on, reverse=True)


def last_good(calibration: Calibration) -> Calibration | None:
    """Return the last comparison before this one that found its instrument good, itself in no doubt."""
    before = Calibration.objects.current().filter(equipment=calibration.equipment_id, done_on__lt=calibration.done_on)
    return before.filter(work__result="passed", work__doubted_by=None).order_by("-done_on", "-pk").first()
