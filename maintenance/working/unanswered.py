"""Records that failed and led to no defect yet."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef, Q

from maintenance.models import Defect, WorkRecord, WorkResult
from maintenance.services.work import asks_for_defect

if TYPE_CHECKING:
    from facility.models import Site


def failed_without_defect(site: Site) -> list[WorkRecord]:
    """Return current records with a failed result or a reading outside its limits that led to no defect, newest first.

    One no longer asks once a later act of the same sort and rule passed on the item, or where a defect of the item was
    found on that day or later or was open then. Two queries.
    """
    later = WorkRecord.objects.filter(
        Q(done_on__gt=OuterRef("done_on")) | Q(done_on=OuterRef("done_on"), pk__gt=OuterRef("pk")),
        equipment=OuterRef("equipment"), kind=OuterRef("kind"), result=WorkResult.PASSED, retired_at=None,
        details__outside__isnull=True,
    )  # fmt: skip
    same_rule = Q(rule=OuterRef("rule")) | Q(rule=None) & Q(kind=OuterRef("kind"))
    rows = WorkRecord.objects.filter(
        Q(result=WorkResult.FAILED) | Q(details__outside=True), equipment__site=site, equipment__retired_at=None,
        retired_at=None,
    )  # fmt: skip
    rows = rows.filter(~Exists(later.filter(same_rule))).select_related("equipment", "rule")
    asking = [work for work in rows.order_by("-done_on", "-pk") if asks_for_defect(work)]
    defects = _defects_of({work.equipment_id for work in asking})
    return [work for work in asking if not any(_answers(work, one) for one in defects.get(work.equipment_id, ()))]


def _defects_of(items: set[int]) -> dict[int, list[Defect]]:
    found: dict[int, list[Defect]] = {}
    if items:
        for defect in Defect.objects.filter(equipment__in=items, retired_at=None):
            found.setdefault(defect.equipment_id or 0, []).append(defect)
    return found


def _answers(work: WorkRecord, defect: Defect) -> bool:
    """Whether a defect was found on the day of an act or later, or was open then; a day is taken wide, over all zones."""
    day = timedelta(days=1)
    found_on = defect.found_at.date()
    back_on = defect.returned_at.date() if defect.returned_at else None
    return found_on >= work.done_on - day or back_on is None or back_on > work.done_on
