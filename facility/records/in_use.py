"""What keeps a record from being retired: something in force would quietly lose its ground."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.models import Chamber, Organisation, QualificationKind, Site
from treatments.models import Plan, Run

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.models import Kept


def keeps(row: Kept) -> str:
    """Say what must be done before ``row`` may be retired; nothing if it may."""
    if isinstance(row, Chamber):
        if Run.objects.filter(chamber=row, ended_at=None, retired_at=None).exists():
            return _("A run is on in it. End the run first.")
        return _take_out(_plans(chamber=row))
    if isinstance(row, QualificationKind):
        return _take_out(
            plan for plan in _plans(chamber__site__organisation=row.organisation_id)
            if any(row.key in role.get("qualifications", ()) for role in plan.roles)
        )  # fmt: skip
    if isinstance(row, Organisation):
        sites = ", ".join(Site.objects.filter(organisation=row, retired_at=None).values_list("name", flat=True))
        return _("It runs these sites: %(sites)s. Retire them first.") % {"sites": sites} if sites else ""
    return ""


def _plans(**where: Any) -> Iterable[Plan]:
    return Plan.objects.filter(retired_at=None, **where).order_by("key")


def _take_out(plans: Iterable[Plan]) -> str:
    names = ", ".join(plan.name for plan in plans)
    if not names:
        return ""
    return _("Plans in force rest on it: %(plans)s. Put versions without it in force, or take them out, first.") % {
        "plans": names
    }
