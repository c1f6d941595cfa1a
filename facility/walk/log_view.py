"""The place Check & log: what is to be walked, what is unfinished, what was signed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.core.paginator import Paginator
from django.db.models import Max, OuterRef, Subquery
from django.shortcuts import render

from facility import events, house
from facility.access import enter
from facility.models import Check, CheckResult, CheckSheet, CheckState, Occasion
from maintenance.models import Opening
from treatments.models import Run

if TYPE_CHECKING:
    from datetime import datetime

    from django.db.models import QuerySet
    from django.http import HttpRequest, HttpResponse

    from facility.access import Visit

NEWEST = 30
PAGE = 100
ORDER = {occasion: place for place, occasion in enumerate(Occasion.values)}


@dataclass(frozen=True, slots=True)
class Due:
    """A sheet, its newest signed check, until when that is good by the house rule, and what has undone it since."""

    sheet: CheckSheet
    newest: Check | None
    good_until: datetime | None
    has_version: bool
    touched_at: datetime | None

    @property
    def passed(self) -> bool:
        """Whether the newest check found everything as it must be."""
        return self.newest is not None and self.newest.result == CheckResult.PASSED

    @property
    def undone_at(self) -> datetime | None:
        """When the chamber was opened or ended a run at or after the signature; the check counts no longer."""
        if self.newest is None or self.newest.signed_at is None or self.touched_at is None:
            return None
        return self.touched_at if self.touched_at >= self.newest.signed_at else None

    def runs_out(self, now: datetime) -> bool:
        """Whether the newest check is too old."""
        return self.good_until is not None and self.good_until <= now


def log(request: HttpRequest, site: str) -> HttpResponse:
    """Show the sheets of the site with their newest checks, the unfinished ones and the last signed."""
    visit = enter(request, site)
    now = events.now()
    signed = _of_site(visit).filter(state=CheckState.SIGNED).order_by("-signed_at", "-pk")[:NEWEST]
    context = {
        "visit": visit, "place": "log", "now": now, "due": [(due, due.runs_out(now)) for due in _due(visit)],
        "unfinished": _of_site(visit).filter(state=CheckState.OPEN).order_by("started_at"), "signed": signed,
    }  # fmt: skip
    return render(request, "walk/log.html", context)


def every(request: HttpRequest, site: str) -> HttpResponse:
    """Show every check of the site, newest first, page by page."""
    visit = enter(request, site)
    checks = Paginator(_of_site(visit).order_by("-started_at", "-pk"), PAGE)
    context = {"visit": visit, "place": "log", "page": checks.get_page(request.GET.get("page"))}
    return render(request, "walk/every.html", context)


def _of_site(visit: Visit) -> QuerySet[Check]:
    return Check.objects.filter(sheet__chamber__site=visit.site).select_related("sheet__chamber", "version")


def _due(visit: Visit) -> list[Due]:
    good_for = timedelta(minutes=int(house.values(visit.site)["check_age_min"]))
    newest = Check.objects.filter(sheet=OuterRef("pk"), state=CheckState.SIGNED).order_by("-signed_at").values("pk")[:1]
    sheets = CheckSheet.objects.filter(
        chamber__site=visit.site, chamber__retired_at=None, retired_at=None
    ).select_related("chamber")
    newest_of = dict(sheets.annotate(newest_pk=Subquery(newest)).values_list("pk", "newest_pk"))
    checks = Check.objects.in_bulk([pk for pk in newest_of.values() if pk])
    due, touched = [], _touched(visit)
    for sheet in sorted(
        sheets.prefetch_related("versions"), key=lambda one: (one.chamber.key, ORDER.get(one.occasion, 0), one.key)
    ):
        check = checks.get(newest_of.get(sheet.pk) or 0)
        until = check.signed_at + good_for if check is not None and check.signed_at else None
        has_version = any(version.is_current for version in sheet.versions.all())
        due.append(Due(sheet, check, until, has_version, touched.get(sheet.chamber_id)))
    return due


def _touched(visit: Visit) -> dict[int, datetime]:
    """Return when each chamber was last opened for work or ended a run."""
    of_site = {"chamber__site": visit.site, "retired_at": None}
    opened = Opening.objects.filter(**of_site).values_list("chamber_id").annotate(Max("opened_at"))
    ended = Run.objects.filter(**of_site).exclude(ended_at=None).values_list("chamber_id").annotate(Max("ended_at"))
    found: dict[int, datetime] = {}
    for chamber, at in [*opened.order_by(), *ended.order_by()]:
        found[chamber] = max(at, found.get(chamber, at))
    return found
