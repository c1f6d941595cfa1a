"""The places Records and Set-up, and the event log."""

from __future__ import annotations

import json
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.apps import apps
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, enter
from facility.fields import DayField
from facility.jobs.absence import WAS_OFF
from facility.models import Check, CheckState, Event, QualificationKind
from facility.nested import local_text
from facility.nested import told as in_words
from facility.records.first_steps import first_steps
from facility.records.kinds import BY_MODEL
from facility.records.states import Moment, moment_of
from maintenance.models import Defect
from treatments.models import Run

if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpRequest, HttpResponse

    from facility.models import Site

#: pages of subjects that are no kind of the general pages
OTHER_PAGES = {
    "maintenance.defect": "maintenance:defect",
    "treatments.plan": "treatments:plan",
    "treatments.need": "treatments:need",
    "treatments.run": "treatments:run",
    "facility.check": "walk:check",
}
NEWEST = 8
PAGE = 50


def records(request: HttpRequest, site: str) -> HttpResponse:
    """Show the newest checks, runs, defects and events, and where all of them are."""
    visit = enter(request, site, Act.SEE)
    moment = moment_of(visit.site, events.now())
    checks = Check.objects.filter(sheet__chamber__site=visit.site, retired_at=None).select_related("sheet__chamber")
    runs = Run.objects.filter(chamber__site=visit.site, retired_at=None).select_related("chamber", "plan")
    context = {
        "visit": visit, "place": "records", "moment": moment, "may_patient": visit.may(Act.PATIENT),
        "checks": checks.exclude(state=CheckState.OPEN).order_by("-started_at")[:NEWEST],
        "runs": runs[:NEWEST],
        "defects": Defect.objects.filter(site=visit.site, retired_at=None).select_related("equipment", "bank")[:NEWEST],
        "events": [_named(one) for one in events_of(visit.site).order_by("-seq")[:NEWEST]],
    }  # fmt: skip
    return render(request, "places/records.html", context)


def setup(request: HttpRequest, site: str) -> HttpResponse:
    """Show what a director or maintainer sets up."""
    visit = enter(request, site, Act.SEE)
    context = {
        "visit": visit, "place": "setup", "may_accounts": visit.may(Act.ACCOUNTS), "may_import": visit.may(Act.IMPORT),
        "may_rules": visit.may(Act.RULES), "chambers": visit.site.chambers.filter(retired_at=None).order_by("key"),
        "first_account": getattr(request.user, "is_superuser", False), "steps": first_steps(visit.site),
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


def events_of(site: Site) -> QuerySet[Event]:
    """Return the events of a site, those of what its organisation keeps for every site, when the box was off, and what was said of its clock."""
    kinds = QualificationKind.objects.filter(organisation=site.organisation_id).values("pk")
    return Event.objects.filter(
        Q(site_id_text=site.key)
        | Q(site_id_text="", action__in=(WAS_OFF, events.CLOCK_RIGHT))
        | Q(subject_kind="facility.qualificationkind", subject_id__in=kinds)
        | Q(subject_kind="facility.organisation", subject_id=site.organisation_id)
    )


def _named(event: Event) -> tuple[Event, str]:
    return event, subject_name(event.subject_kind) if event.subject_kind else ""


def event_log(request: HttpRequest, site: str) -> HttpResponse:
    """List the events of a site, newest first, by subject and by day."""
    visit = enter(request, site, Act.SEE)
    moment = moment_of(visit.site, events.now())
    rows = events_of(visit.site)
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
    kinds = events_of(site).exclude(subject_kind="").order_by("subject_kind")
    return [(kind, subject_name(kind)) for kind in kinds.values_list("subject_kind", flat=True).distinct()]


def event(request: HttpRequest, site: str, seq: int) -> HttpResponse:
    """Show one event: the exact text over which its digest was taken, and the digest."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(events_of(visit.site), seq=seq)
    told, zone = json.loads(row.payload), ZoneInfo(visit.site.zone)
    names = sorted({*told["before"], *told["after"]})
    context = {
        "visit": visit, "place": "records", "moment": moment_of(visit.site, events.now()), "event": row, "told": told,
        "pairs": [(name, in_words(told["before"].get(name, ""), told["after"].get(name, ""), zone)) for name in names],
        "happened_at": local_text(datetime.fromisoformat(told["occurred_at"]), zone) if told["occurred_at"] else "",
        "digest": bytes(row.digest).hex(), "prev": bytes(row.prev).hex(),
        "subject": subject_name(row.subject_kind) if row.subject_kind else _("none"),
        "subject_url": _page_of(row, site),
    }  # fmt: skip
    return render(request, "places/event.html", context)


def _page_of(row: Event, site: str) -> str:
    """Return the page of what an event tells of; nothing where it has none."""
    kind = BY_MODEL.get(_model(row.subject_kind)) if row.subject_kind else None
    if kind is not None and row.subject_id is not None:
        return reverse("records:detail", args=[site, kind.slug, row.subject_id])
    name = OTHER_PAGES.get(row.subject_kind)
    return reverse(name, args=[site, row.subject_id]) if name else ""


def _model(kind: str) -> Any:
    try:
        return apps.get_model(kind)
    except (LookupError, ValueError):
        return None
