"""What somebody sees who reads by link: one site, for a time, within what the link shows. Nothing can be sent from here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_not_required
from django.http import Http404
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from facility import events
from facility.fields import day_text
from facility.models import Person
from facility.visits.day import checks_of
from facility.visits.forms import DayForm
from facility.visits.person import trail_of
from facility.visits.services import link_of, note_use, start_of_day
from facility.visits.views import UNPROCESSABLE, findings_of, mark_of
from maintenance.calibrating.trail import below, numbered, rests_on
from maintenance.calibrating.trail import trail_of as calibration_trail
from maintenance.models import Equipment, ReferenceCertificate
from maintenance.planning.history import history_of
from maintenance.planning.item_view import WORD_MARKS
from maintenance.upkeep.state import due_states, due_states_of

if TYPE_CHECKING:
    from datetime import datetime

    from django.http import HttpRequest, HttpResponse

    from facility.models import ReadingLink
    from maintenance.calibrating.trail import Step


def _opened(secret: str, area: str = "") -> tuple[ReadingLink, datetime]:
    """Return the link, or answer as if there were no such address."""
    now = events.now()
    link = link_of(secret, now)
    if link is None or (area and link.scope not in ("whole", area)):
        raise Http404
    note_use(link, now)
    return link, now


def _context(link: ReadingLink, secret: str, **more: Any) -> dict[str, Any]:
    shows = {area: link.scope in ("whole", area) for area in ("checks", "plant", "people", "findings")}
    return {"link": link, "secret": secret, "site": link.site, "zone": link.site.zone, "shows": shows, **more}


@login_not_required
@require_safe
@never_cache
def look(request: HttpRequest, secret: str) -> HttpResponse:
    """Show what the link opens."""
    link, now = _opened(secret)
    today = now.astimezone(ZoneInfo(link.site.zone)).date()
    context = _context(link, secret, today=today_text(link, now))
    if context["shows"]["plant"]:
        states = due_states(link.site, today)
        if link.chamber_id is not None:
            inside = set(Equipment.objects.filter(chamber=link.chamber_id).values_list("pk", flat=True))
            states = [state for state in states if state.equipment in inside]
        context["states"] = [(WORD_MARKS[state.word], state) for state in states]
    if context["shows"]["people"]:
        context["people"] = list(Person.objects.filter(site=link.site, retired_at=None))
    if context["shows"]["findings"]:
        context["findings"] = [(mark_of(row, today), row) for row in findings_of(link.site).order_by("due_on", "pk")]
    return render(request, "visits/look.html", context)


def today_text(link: ReadingLink, now: datetime) -> str:
    """Return the civil day at the site, as a form shows it."""
    return day_text(now.astimezone(ZoneInfo(link.site.zone)).date())


@login_not_required
@require_safe
@never_cache
def look_day(request: HttpRequest, secret: str) -> HttpResponse:
    """Show the checks of one day."""
    link, now = _opened(secret, "checks")
    form = DayForm(request.GET if "day" in request.GET else {"day": today_text(link, now)})
    asked = form.cleaned_data["day"] if form.is_valid() else None
    if asked is not None and link.from_day is not None and asked < link.from_day:
        said = {"day": day_text(asked), "first": day_text(link.from_day)}
        form.add_error("day", _("%(day)s lies before %(first)s, the first day that this link shows.") % said)
        asked = None
    found = checks_of(link.site, link.chamber, asked) if asked is not None else []
    context = _context(link, secret, form=form, day=asked, found=found)
    return render(request, "visits/look_day.html", context, status=UNPROCESSABLE if form.errors else 200)


@login_not_required
@require_safe
@never_cache
def look_item(request: HttpRequest, secret: str, pk: int) -> HttpResponse:
    """Show one item with what its comparison rests on, and its history."""
    link, now = _opened(secret, "plant")
    rows = Equipment.objects.filter(site=link.site)
    if link.chamber_id is not None:
        rows = rows.filter(chamber=link.chamber_id)
    row = get_object_or_404(rows, pk=pk)
    states = due_states_of([row.pk], link.site, now.astimezone(ZoneInfo(link.site.zone)).date())
    lines = [line for line in history_of(row, link.site) if link.from_day is None or line.on >= link.from_day]
    context = _context(
        link, secret, row=row, states=[(WORD_MARKS[state.word], state) for state in states],
        steps=numbered(calibration_trail(row)), lines=lines,
    )  # fmt: skip
    return render(request, "visits/look_item.html", context)


@login_not_required
@require_safe
@never_cache
def look_certificate(request: HttpRequest, secret: str, pk: int) -> HttpResponse:
    """Show one certificate of a reference, what it rests on, and what was compared with it."""
    link, _at = _opened(secret, "plant")
    row = get_object_or_404(ReferenceCertificate.objects.select_related("reference"), pk=pk, reference__site=link.site)
    above = [step for step in rests_on(row) if _within(step, link)]
    if link.chamber_id is not None and not any(step.kind == "calibration" for step in above):
        raise Http404
    shown = [step for step in above if link.from_day is None or step.on >= link.from_day]
    context = _context(link, secret, row=row, below=numbered(below(row)[1:]), above=numbered(shown))
    return render(request, "visits/look_certificate.html", context)


def _within(step: Step, link: ReadingLink) -> bool:
    """Return whether a step is of the chamber that the link shows, or of none."""
    return step.kind != "calibration" or link.chamber_id in (None, step.row.equipment.chamber_id)


@login_not_required
@require_safe
@never_cache
def look_person(request: HttpRequest, secret: str, pk: int) -> HttpResponse:
    """Show what a person did, and what was in date for them."""
    link, _at = _opened(secret, "people")
    row = get_object_or_404(Person.objects.select_related("user", "site"), pk=pk, site=link.site)
    since = None if link.from_day is None else start_of_day(link.from_day, link.site.zone)
    return render(request, "visits/look_person.html", _context(link, secret, trail=trail_of(row, since)))
