"""Pages of a run's people and their screening, and of giving an opened run up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, enter
from facility.fields import refuse
from facility.services import ChangedMeanwhileError
from treatments.models import Run, RunPlace, Screening
from treatments.opening import places, services
from treatments.opening.forms import ChangePlaceForm, PlaceForm, ReasonForm, ScreeningForm
from treatments.opening.screening import missing_screenings, not_yes
from treatments.opening.screening import screen as record_screening

if TYPE_CHECKING:
    from collections.abc import Callable

    from django import forms
    from django.http import HttpRequest, HttpResponse

    from facility.access import Visit

OPEN, CONFLICT, UNPROCESSABLE = 200, 409, 422


def run_of(visit: Visit, pk: int) -> Run:
    """Return a run of the site. Errors: Http404."""
    rows = Run.objects.filter(chamber__site=visit.site).select_related("chamber__site", "plan")
    return get_object_or_404(rows, pk=pk)


def place_of(run: Run, pk: int) -> RunPlace:
    """Return somebody in a run. Errors: Http404."""
    return get_object_or_404(
        RunPlace.objects.filter(run=run, retired_at=None).select_related("run__chamber__site"), pk=pk
    )


def context(visit: Visit, run: Run, **more: Any) -> dict[str, Any]:
    """Return what every page of a run's opening needs."""
    return {
        "visit": visit, "place": "now", "row": run, "may_log": visit.may(Act.LOG), "may_patient": visit.may(Act.PATIENT), **more
    }  # fmt: skip


class Settled(NamedTuple):
    """Whether a form did what it asks for, and the status of the page that shows it again if not."""

    done: bool
    status: int


def settled(form: forms.BaseForm, act: Callable[[dict[str, Any]], object]) -> Settled:
    """Do with what was typed what a valid form asks for; a refusal then stands in the form."""
    if not form.is_valid():
        return Settled(done=False, status=UNPROCESSABLE if form.is_bound else OPEN)
    try:
        act(form.cleaned_data)
    except ChangedMeanwhileError as error:
        form.add_error(None, error)
        return Settled(done=False, status=CONFLICT)
    except ValidationError as error:
        refuse(form, error)
        return Settled(done=False, status=UNPROCESSABLE)
    return Settled(done=True, status=OPEN)


def run_people(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show who is in a run, what is missing of each, and who has roles that should be apart."""
    visit = enter(request, site)
    run = run_of(visit, pk)
    rows = places.places_of(run)
    missing = missing_screenings(run)
    more = context(
        visit, run, rows=[(one, [gap for gap in missing if gap.place.pk == one.pk]) for one in rows],
        alone=places.alone(run, rows), open_roles=places.roles_open(rows), alone_form=ReasonForm(),
    )  # fmt: skip
    return render(request, "treatments/opening/people.html", more)


def add_place(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Put somebody in a run."""
    visit = enter(request, site, Act.LOG)
    run = run_of(visit, pk)
    form = PlaceForm(request.POST or None, initial={"role": request.GET.get("role", "")})
    form.open_at(visit.site)
    done, status = settled(form, lambda _typed: places.add_place(run, form.new_place(), by=visit.actor))
    if done:
        return redirect("treatments:run_people", site, pk)
    more = context(visit, run, form=form, head=_("Put somebody in the run"), act=_("Put in the run"))
    return render(request, "treatments/opening/form.html", more, status=status)


def change_place(request: HttpRequest, site: str, pk: int, place_pk: int) -> HttpResponse:
    """Change whether somebody goes under pressure, or take somebody off who was put there by mistake."""
    visit = enter(request, site, Act.LOG)
    run = run_of(visit, pk)
    place = place_of(run, place_pk)
    form = ChangePlaceForm(request.POST or None, instance=place)
    form.open_at(visit.site)
    done, status = settled(form, lambda typed: _changed(request, place, typed, visit))
    if done:
        return redirect("treatments:run_people", site, pk)
    more = context(visit, run, form=form, one=place)
    return render(request, "treatments/opening/change_place.html", more, status=status)


def _changed(request: HttpRequest, place: RunPlace, typed: dict[str, Any], visit: Visit) -> None:
    if "take_off" in request.POST:
        places.take_off(place, reason=typed["reason"], by=visit.actor)
    else:
        places.change_place(place, shown_version=typed["shown_version"], reason=typed["reason"], by=visit.actor)


def screen(request: HttpRequest, site: str, pk: int, place_pk: int) -> HttpResponse:
    """Screen one occupant: five questions, none answered beforehand; earlier screenings stand below."""
    visit = enter(request, site, Act.LOG)
    run = run_of(visit, pk)
    place = place_of(run, place_pk)
    initial = {"screened_at": events.now(), "screened_by": visit.actor.name}
    form = ScreeningForm(request.POST or None, initial=initial, instance=Screening(run=run, occupant=place))
    form.open_at(visit.site)
    done, status = settled(form, lambda _typed: record_screening(form.instance, by=visit.actor))
    if done:
        messages.success(request, _("%(who)s is screened.") % {"who": place.label})
        return redirect("treatments:run_people", site, pk)
    rows = Screening.objects.filter(occupant=place, retired_at=None).order_by("-screened_at", "-id")
    more = context(visit, run, form=form, one=place, earlier=[(row, not_yes(row)) for row in rows])
    return render(request, "treatments/opening/screen.html", more, status=status)


def say_alone(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Keep why one person has roles that should be apart."""
    visit = enter(request, site, Act.LOG)
    run = run_of(visit, pk)
    form = ReasonForm(request.POST or None)
    done, status = settled(form, lambda typed: places.say_why_alone(run, typed["reason"], by=visit.actor))
    if done:
        return redirect("treatments:run_people", site, pk)
    head = _("Why one person has roles that should be apart")
    more = context(
        visit, run, form=form, head=head, act=_("Keep the reason"), told=places.alone(run, places.places_of(run))
    )
    return render(request, "treatments/opening/form.html", more, status=status)


def give_up_run(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Let an opened run that never left surface no longer count."""
    visit = enter(request, site, Act.RUN)
    run = run_of(visit, pk)
    form = ReasonForm(request.POST or None)
    done, status = settled(form, lambda typed: services.give_up_run(run, reason=typed["reason"], by=visit.actor))
    if done:
        messages.success(request, _("Run %(number)d is given up. It never left surface.") % {"number": run.number})
        return redirect("treatments:runs", site)
    head = _("Give the run up: it has not left surface")
    return render(
        request,
        "treatments/opening/form.html",
        context(visit, run, form=form, head=head, act=_("Give it up")),
        status=status,
    )


def give_reason(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Say afterwards why a run left surface outside the house rules."""
    visit = enter(request, site, Act.RUN)
    run = run_of(visit, pk)
    form = ReasonForm(request.POST or None)
    done, status = settled(form, lambda typed: services.give_reason(run, typed["reason"], by=visit.actor))
    if done:
        return redirect("treatments:run", site, pk)
    head = _("Why the run left surface outside the house rules")
    more = context(visit, run, form=form, head=head, act=_("Keep the reason"))
    return render(request, "treatments/opening/form.html", more, status=status)
