"""Walking a check: begin, station by station, answer, correct, break off, give up."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from facility.access import Act, enter
from facility.compute.sheets import SheetError, Typed, groups_of, parse_steps
from facility.models import Answer, Check, CheckSheet, CheckState, Person
from facility.walk import answering, services
from facility.walk.answering import Slip
from facility.walk.forms import CorrectForm, GiveUpForm
from facility.walk.short import place_of_next, short_list
from facility.walk.signed_view import signed_page
from facility.walk.signing import answers_of
from facility.walk.station import Walk, items_of, walk_of
from facility.walk.words import refusal

if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpRequest

    from facility.access import Visit
    from facility.walk.answer_views import Refused

UNPROCESSABLE = 422


def sheet_of(visit: Visit, pk: int) -> CheckSheet:
    """Return a sheet of the site or answer 404."""
    return get_object_or_404(CheckSheet.objects.select_related("chamber__site"), pk=pk, chamber__site=visit.site)


def check_of(visit: Visit, pk: int) -> Check:
    """Return a check of the site or answer 404."""
    rows = Check.objects.select_related("version", "sheet__chamber__site", "scan")
    return get_object_or_404(rows, pk=pk, sheet__chamber__site=visit.site)


def others(visit: Visit) -> QuerySet[Person]:
    """Return the people of the site who may be the second person beside the one signed in."""
    people = Person.objects.filter(site=visit.site, retired_at=None).exclude(name=visit.actor.name)
    return people.exclude(user_id=visit.actor.user_id) if visit.actor.user_id else people


def start(request: HttpRequest, site: str, sheet_pk: int) -> HttpResponse:
    """Show a sheet before it is walked; a POST begins it or takes up the one left open."""
    visit = enter(request, site, Act.CHECK)
    sheet = sheet_of(visit, sheet_pk)
    if request.method == "POST":
        try:
            check, was_open = services.start(sheet, by=visit.actor)
        except ValidationError as error:
            messages.error(request, refusal(error))
            return redirect("walk:log", site)
        if was_open:
            messages.info(request, _("This check was begun before; it goes on where it was left."))
        return redirect("walk:check", site, check.pk)
    version = sheet.versions.filter(retired_at=None).first()
    context = {
        "visit": visit, "place": "log", "sheet": sheet, "version": version,
        "groups": walk_groups(version.steps) if version else (),
        "open": Check.objects.filter(sheet=sheet, state=CheckState.OPEN).order_by("started_at").first(),
        "last": Check.objects.filter(sheet=sheet, state=CheckState.SIGNED).order_by("-signed_at").first(),
    }  # fmt: skip
    return render(request, "walk/start.html", context)


def walk_groups(raw: list[dict[str, Any]]) -> tuple[Any, ...]:
    """Return the stations of stored steps for a page that only names them."""
    return groups_of(parse_steps(raw))


def check(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show an open check where it was left, or a closed one as it stands."""
    visit = enter(request, site)
    found = check_of(visit, pk)
    if found.state == CheckState.OPEN and visit.may(Act.CHECK):
        walk = walk_of(found, answers_of(found))
        place = place_of_next(short_list(walk)) or walk.place_to_go_on()
        return station_page(request, visit, walk, place, resumed=bool(found.here))
    return signed_page(request, visit, found)


def station(request: HttpRequest, site: str, pk: int, place: int) -> HttpResponse:
    """Show one station of an open check."""
    visit = enter(request, site, Act.CHECK)
    found = check_of(visit, pk)
    if found.state != CheckState.OPEN:
        return redirect("walk:check", site, pk)
    return station_page(request, visit, walk_of(found, answers_of(found)), place)


def station_page(
    request: HttpRequest, visit: Visit, walk: Walk, place: int, *, resumed: bool = False, refused: Refused | None = None
) -> HttpResponse:
    """Render a station; ``refused`` is an answer that was not taken and stays in its field."""
    stop = walk.stop_at(place)
    items = items_of(walk, visit.site, stop.group.steps)
    short = short_list(walk)
    context = {
        "visit": visit, "place": "log", "check": walk.check, "walk": walk, "stop": stop, "items": items,
        "people": others(visit) if any(step.needs_second for step in stop.group.steps) else (),
        "next": walk.stops[stop.group.place] if stop.group.place < len(walk.stops) else None,
        "look_again": look_again(walk) if resumed else None,
        "newer": newer_version(walk.check), "refused": refused, "give_up": GiveUpForm(),
        "short": short, "short_open": sum(not one.answered for one in short),
    }  # fmt: skip
    return render(request, "walk/station.html", context, status=refused.status if refused else 200)


def look_again(walk: Walk) -> Any:
    """Return the step at which the walk was left: the one to look at again."""
    return next((step for step in walk.steps if step.key == walk.check.here), None)


def newer_version(check: Check) -> Any:
    """Return the version in force if it is not the one this check keeps."""
    if check.version.is_current:
        return None
    return check.sheet.versions.filter(retired_at=None).first()


def correct(request: HttpRequest, site: str, pk: int, answer_pk: int) -> HttpResponse:
    """Ask for the right value of an answer with a slip, and why; the old one stays struck through."""
    visit = enter(request, site, Act.CHECK)
    found = check_of(visit, pk)
    old = get_object_or_404(Answer, pk=answer_pk, check_done=found)
    step = services.step_of(found.version, old.step)
    form = CorrectForm(request.POST or None, initial={"client_id": uuid.uuid4()})
    if form.is_valid() and _corrected(form, old, visit):
        messages.success(request, _("Corrected. The old value stays, struck through."))
        stops = walk_of(found, ()).stops
        place = next(stop.group.place for stop in stops if step in stop.group.steps)
        return redirect("walk:station", site, pk, place)
    context = {"visit": visit, "place": "log", "check": found, "old": old, "step": step, "form": form}
    return render(request, "walk/correct.html", context, status=UNPROCESSABLE if form.is_bound else 200)


def _corrected(form: CorrectForm, old: Answer, visit: Visit) -> bool:
    data = form.cleaned_data
    typed = Typed(data["outcome"], data["value"], data["choice"], sure=data["sure"])
    try:
        answering.correct(old.pk, Slip(typed, data["reason"], data["client_id"]), site=visit.site, by=visit.actor)
    except (SheetError, ValidationError) as error:
        form.add_error(None, refusal(error))
        return False
    return True


@require_POST
def leave(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Break off: the check is kept and goes on at the same step."""
    visit = enter(request, site, Act.CHECK)
    try:
        services.leave(pk, site=visit.site, by=visit.actor)
    except Check.DoesNotExist:
        raise Http404 from None
    messages.success(request, _("The check is kept. It goes on where you left it, for you or for someone else."))
    return redirect("walk:log", site)


def give_up(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """End an open check without a signature, with a reason; then a new one can be begun."""
    visit = enter(request, site, Act.CHECK)
    found = check_of(visit, pk)
    form = GiveUpForm(request.POST or None)
    if form.is_valid():
        try:
            services.give_up(pk, reason=form.cleaned_data["reason"], site=visit.site, by=visit.actor)
        except ValidationError as error:
            form.add_error(None, refusal(error))
        else:
            messages.success(request, _("Given up. What was entered stays readable."))
            return redirect("walk:start", site, found.sheet_id)
    context = {"visit": visit, "place": "log", "check": found, "form": form}
    return render(request, "walk/give_up.html", context, status=UNPROCESSABLE if form.is_bound else 200)
