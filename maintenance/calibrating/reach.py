"""What a recall reaches: the rows of a site as a chain, and the pure walk through it."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.db.models import F, Q

from maintenance.compute.recall import Bad, Certificate, Chain, Comparison, Reached, Use, reached
from maintenance.models import (
    Calibration,
    CylinderAnalysis,
    DeliveredCylinder,
    GasSample,
    Recall,
    RecallAnswer,
    Reference,
    ReferenceCertificate,
    WorkResult,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from facility.models import Site

#: kinds of things that a recall may put in doubt, as they stand in its answers
CALIBRATION, CERTIFICATE = "calibration", "certificate"
ANALYSIS, DELIVERED, SAMPLE = "analysis", "delivered cylinder", "gas sample"


def chain_of(site: Site) -> Chain:
    """Return everything of a site that one comparison or analysis may pass on, in five queries."""
    certificates = ReferenceCertificate.objects.current().filter(reference__site=site)
    comparisons = Calibration.objects.current().filter(equipment__site=site)
    return Chain(
        tuple(
            Certificate(*row)
            for row in certificates.values_list(
                "pk", "reference_id", "calibrated_on", "rests_on_id", "reference__equipment_id"
            )
        ),
        tuple(
            Comparison(pk, item, certificate, on, result == WorkResult.PASSED)
            for pk, item, certificate, on, result in comparisons.values_list(
                "pk", "equipment_id", "certificate_id", "done_on", "work__result"
            )
        ),
        tuple(_uses(site)),
    )


def _uses(site: Site) -> Iterator[Use]:
    zone = ZoneInfo(site.zone)
    analyses = CylinderAnalysis.objects.current().filter(cylinder__bank__site=site)
    delivered = DeliveredCylinder.objects.current().filter(delivery__site=site, cylinder=None)
    samples = GasSample.objects.current().filter(site=site).annotate(at=F("taken_at"))
    for kind, rows in (
        (ANALYSIS, analyses.annotate(at=F("analysed_at"))),
        (DELIVERED, delivered.annotate(at=F("analysed_at"))),
        (SAMPLE, samples),
    ):
        used = rows.filter(analyser__isnull=False, at__isnull=False)
        for pk, analyser, at in used.values_list("pk", "analyser_id", "at"):
            yield Use(kind, pk, analyser, at.astimezone(zone).date())


def bad_of(recall: Recall) -> Bad:
    """Return what a recall says turned out bad. An item of the plant that is a reference too is bad as both."""
    item = recall.equipment_id
    references = {recall.reference_id} - {None}
    if recall.reference is not None:
        item = recall.reference.equipment_id
    elif item is not None:
        references = set(Reference.objects.filter(equipment=item).values_list("pk", flat=True))
    return Bad(frozenset(filter(None, references)), item, recall.last_good_on, recall.found_on)


def reach_of(recall: Recall, chain: Chain | None = None) -> Reached:
    """Return what a recall reaches, as the records stand now."""
    return reached(chain or chain_of(recall.site), bad_of(recall))


def bad_certificates(site: Site, day: date) -> set[int]:
    """Return the certificates that no comparison of ``day`` may rest on, by the site's recalls.

    One that was found to stand after all is not among them.
    """
    recalls = list(Recall.objects.current().filter(site=site).select_related("reference"))
    if not recalls:
        return set()
    chain = chain_of(site)
    found: set[int] = set()
    for recall in recalls:
        bad = bad_of(recall)
        if day > bad.last_good_on:
            found |= {one.pk for one in chain.certificates if one.reference in bad.references and one.on < bad.found_on}
        found |= reached(chain, bad).certificates - _standing(recall)
    return found


def _standing(recall: Recall) -> set[int]:
    rows = RecallAnswer.objects.current().filter(Q(recall=recall), subject_kind=CERTIFICATE, stands=True)
    return set(rows.values_list("subject_id", flat=True))
