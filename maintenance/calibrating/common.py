"""What the pages of comparisons share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.shortcuts import get_object_or_404

from facility import events
from maintenance.calibrating.trail import with_newest_work
from maintenance.models import Calibration, Equipment, EquipmentKind, Reference, ReferenceCertificate

if TYPE_CHECKING:
    from datetime import date

    from facility.access import Visit

INSTRUMENTS = (
    EquipmentKind.DEPTH_GAUGE, EquipmentKind.PRESSURE_GAUGE, EquipmentKind.ANALYSER, EquipmentKind.THERMOMETER,
    EquipmentKind.CLOCK,
)  # fmt: skip


def context(visit: Visit, **more: Any) -> dict[str, Any]:
    """Return what every page of this part gets."""
    return {"visit": visit, "place": "plant", **more}


def today_at(visit: Visit) -> date:
    """Return the civil day at the site."""
    return events.now().astimezone(ZoneInfo(visit.site.zone)).date()


def equipment_of(visit: Visit, pk: int) -> Equipment:
    """Return an item of the site. Errors: Http404."""
    return get_object_or_404(Equipment.objects.filter(site=visit.site), pk=pk)


def calibration_of(visit: Visit, pk: int) -> Calibration:
    """Return a comparison of the site with all that its page shows. Errors: Http404."""
    rows = Calibration.objects.filter(equipment__site=visit.site)
    joined = rows.select_related(
        "equipment__site", "certificate__reference", "work__rule__equipment", "work__evidence", "work__doubted_by",
        "work__superseded_by", "supersedes",
    )  # fmt: skip
    return with_newest_work([get_object_or_404(joined, pk=pk)])[0]


def reference_of(visit: Visit, pk: int) -> Reference:
    """Return a reference of the site. Errors: Http404."""
    return get_object_or_404(Reference.objects.filter(site=visit.site).select_related("equipment", "site"), pk=pk)


def certificate_of(visit: Visit, pk: int) -> ReferenceCertificate:
    """Return a certificate of a reference of the site. Errors: Http404."""
    rows = ReferenceCertificate.objects.filter(reference__site=visit.site)
    return get_object_or_404(rows.select_related("reference__site", "rests_on", "evidence"), pk=pk)
