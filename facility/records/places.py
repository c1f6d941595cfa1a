"""The places Records and Set-up, and the event log."""

from __future__ import annotations

import json
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, Any

from django.apps import apps
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, render
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, enter
from facility.fields import DayField
from facility.models import Check, CheckState, Event
from facility.records.kinds import BY_MODEL
from facility.records.states import Moment, moment_of
from maintenance.models import Defect
from treatments.models import Run

if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpRequest, HttpResponse

    from facility.models import Site

NEWEST = 8
PAGE = 50


def records(request: HttpRequest, site: str) -> HttpResponse:
    """Show the newest checks, runs, defects and events, and where all of them are."""
    visit = enter(request, site, Act.SEE)
    moment = moment_of(visit.site, events.now())
    checks = Check.objects.filter(sheet__chamber__site=visit.site, retired_at=None).select_related("sheet__chamber")
    runs = Run.objects.filter(chamber__site=visit.site, retired_at=None).select_related("chamber", "plan")
    context = {
        "visit": visit, "place": "records", "moment": moment,
        "checks": checks.exclude(state=CheckState.OPEN).order_by("-started_at")[:NEWEST],
        "runs": runs.order_by("-started_at")[:NEWEST],
        "defects": Defect.objects.filter(site=visit.site, retired_at=None).select_related("equipment", "bank")[:NEWEST],
        "events": [_named(one) for one in Event.objects.filter(site_id_text=visit.site.key).order_by("-seq")[:NEWEST]],
    }  # fmt: skip
    return render(request, "places/records.html", context)


def setup(request: HttpRequest, site: str) -> HttpResponse:
    """Show what a director or maintainer sets up."""
    visit = enter(request, site, Act.SEE)
    context = {
        "visit": visit, "place": "setup", "may_accounts": visit.may(Act.ACCOUNTS), "may_import": visit.may(Act.IMPORT),
        "may_rules": visit.may(Act.RULES), "chambers": visit.site.chambers.filter(retired_at=None).order_by("key"),
        "first_account": getattr(request.user, "is_superuser", False),
    }  # fmt: skip
    return render(request, "places/setup.html", context)


def subject_name(kind: str) -> str:
    """Return what a subject is called on the pages; the stored word where no model has it any more."""
    try:
        model = apps.get_model(kind)
    except (LookupError, ValueError):
        return kind
    known = BY_MODEL.get(model)
    return capfirst(str(known.one if known else model._meta.verbose_name))


def _named(event: Event) -> tuple[Event, str]:
    return event, subject_name(event.subject_kind) if event.subject_kind else ""


def event_log(request: HttpRequest, site: str) -> HttpResponse:
    """List the events of a site, newest first, by subject and by day."""
    visit = enter(request, site, Act.SEE)
    moment = moment_of(visit.site, events.now())
    rows = Event.objects.filter(site_id_text=visit.site.key)
    chosen, day_text, refused = request.GET.get("subject", ""), request.GET.get("day", ""), ""
    if chosen:
        rows = rows.filter(subject_kind=chosen)
    if day_text:
        try:
            rows = _on_day(rows, day_text, moment)
        except ValidationError as error:
            refused = error.messages[0]
    if request.GET.get("before", "").isdecimal():
        rows = rows.filter(seq__lt=int(request.GET["before"]))
    found = list(rows.order_by("-seq")[: PAGE + 1])
    context = {
        "visit": visit, "place": "records", "moment": moment, "events": [_named(one) for one in found[:PAGE]],
        "subjects": _subjects(visit.site), "chosen": chosen, "day_text": day_text, "refused": refused,
        "before": found[PAGE - 1].seq if len(found) > PAGE else None,
    }  # fmt: skip
    return render(request, "places/events.html", context, status=422 if refused else 200)


def _on_day(rows: QuerySet[Event], text: str, moment: Moment) -> QuerySet[Event]:
    """Keep the events recorded on one civil day of the site. Errors: ValidationError for what is no day."""
    day: Any = DayField().clean(text)
    start = datetime.combine(day, time(), moment.zone)
    return rows.filter(
        recorded_at__gte=start, recorded_at__lt=datetime.combine(day + timedelta(days=1), time(), moment.zone)
    )


def _subjects(site: Site) -> list[tuple[str, str]]:
    kinds = Event.objects.filter(site_id_text=site.key).exclude(subject_kind="").order_by("subject_kind")
    return [(kind, subject_name(kind)) for kind in kinds.values_list("subject_kind", flat=True).distinct()]


def event(request: HttpRequest, site: str, seq: int) -> HttpResponse:
    """Show one event: the exact text over which its digest was taken, and the digest."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(Event.objects.filter(site_id_text=visit.site.key), seq=seq)
    told = json.loads(row.payload)
    names = sorted({*told["before"], *told["after"]})
    kind = BY_MODEL.get(_model(row.subject_kind)) if row.subject_kind else None
    context = {
        "visit": visit, "place": "records", "moment": moment_of(visit.site, events.now()), "event": row, "told": told,
        "pairs": [(name, told["before"].get(name, ""), told["after"].get(name, "")) for name in names],
        "digest": bytes(row.digest).hex(), "prev": bytes(row.prev).hex(),
        "subject": subject_name(row.subject_kind) if row.subject_kind else _("none"), "slug": kind.slug if kind else "",
    }  # fmt: skip
    return render(request, "places/event.html", context)


def _model(kind: str) -> Any:
    try:
        return apps.get_model(kind)
    except (LookupError, ValueError):
        return None
