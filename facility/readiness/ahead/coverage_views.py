"""The page of coverage: in which hours each table has its crew, and what a swap would cost. Nothing is stored."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from facility import events
from facility.access import Act, enter
from facility.compute.coverage import Stretch, coverage, crewed_min, swapped
from facility.compute.emergency import crewed_by
from facility.compute.facts import Span
from facility.compute.instants import MINUTES_PER_DAY, datetime_of, instant_of
from facility.models import DutyPeriod, Person
from facility.readiness import services
from facility.readiness.axis import percent
from facility.readiness.no_chamber import no_chamber
from facility.readiness.times import local

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Site
    from facility.readiness.services import Answer

DAYS = 14
KINDS = ("open", "limits", "asked", "closed")


class DutyChoice(forms.ModelChoiceField[DutyPeriod]):
    """Duty named by its person and its time at the site."""

    zone = ""

    def label_from_instance(self, obj: DutyPeriod) -> str:
        begin, end = local(instant_of(obj.starts_at), self.zone), local(instant_of(obj.ends_at), self.zone)
        return f"{obj.person.name}: {begin:%d %b %H:%M} \u2013 {end:%d %b %H:%M}"


class SwapForm(forms.Form):
    """Whose duty would go to whom."""

    duty = DutyChoice(DutyPeriod.objects.none(), label=_("This duty"))
    taker = forms.ModelChoiceField(Person.objects.none(), label=_("would be taken by"))

    def open_at(self, site: Site, at: datetime) -> None:
        """Offer the coming duty and the people of the site."""
        fields: Any = self.fields
        fields["duty"].queryset = DutyPeriod.objects.filter(
            person__site=site, retired_at=None, ends_at__gt=at
        ).select_related("person")
        fields["duty"].zone = site.zone
        fields["taker"].queryset = Person.objects.filter(site=site, retired_at=None)


@dataclass(frozen=True, slots=True)
class Line:
    """One plan: its picture, the hours in which a start is crewed, and those that are not."""

    name: str
    party: str
    bars: tuple[tuple[str, str, str], ...]
    hours: int
    gaps: tuple[tuple[datetime, datetime], ...]
    after_hours: int | None
    emergency_hours: int | None

    @property
    def lost(self) -> int:
        """Hours that the swap takes away; negative where it adds some."""
        return 0 if self.after_hours is None else self.hours - self.after_hours


@require_safe
def crew_hours(request: HttpRequest, site: str, chamber: str = "") -> HttpResponse:
    """Show for 14 days in which hours a start of each table is crewed to its end, and what a swap would change."""
    visit = enter(request, site, Act.SEE)
    if not services.chambers_of(visit.site):
        return no_chamber(request, visit, str(_("Crew hours")), "people")
    shown = next((one for one in services.chambers_of(visit.site) if chamber in ("", one.key)), None)
    if shown is None:
        raise Http404
    at = events.now()
    answer = services.evaluate_chamber(shown, at)
    form = SwapForm(request.GET if "duty" in request.GET else None)
    form.open_at(visit.site, at)
    after = _after(form, answer) if form.is_bound and form.is_valid() else None
    lines = _lines(answer, after)
    context = {
        "visit": visit, "place": "people", "chamber": shown, "lines": lines, "form": form, "asked": after is not None,
        "lost": [line for line in lines if line.lost > 0], "days": DAYS, "caution": services.caution(),
        "ticks": _ticks(answer.at, visit.site.zone),
    }  # fmt: skip
    return render(request, "readiness/ahead/crew_hours.html", context, status=422 if form.errors else 200)


def _after(form: SwapForm, answer: Answer) -> dict[str, list[Stretch]]:
    duty: DutyPeriod = form.cleaned_data["duty"]
    span = Span(instant_of(duty.starts_at), instant_of(duty.ends_at))
    facts = swapped(answer.facts, span, duty.person.key, form.cleaned_data["taker"].key)
    return coverage(facts, answer.at, DAYS)


def _lines(answer: Answer, after: dict[str, list[Stretch]] | None) -> list[Line]:
    found = []
    for plan, stretches in coverage(answer.facts, answer.at, DAYS).items():
        row = answer.names.plans[plan]
        gaps = tuple((datetime_of(one.begin), datetime_of(one.until)) for one in stretches if not one.crewed)
        hours = crewed_min(stretches) // 60
        later = None if after is None else crewed_min(after[plan]) // 60
        found.append(
            Line(row.name, row.party, _bars(stretches, answer.at), hours, gaps, later, _emergency(answer, plan))
        )
    return found


def _emergency(answer: Answer, plan: str) -> int | None:
    """Return the hours in which the emergency crew could be found; nothing where none is written down."""
    roles = answer.names.plans[plan].emergency()
    if not roles:
        return None
    return crewed_min(coverage(crewed_by(answer.facts, plan, roles), answer.at, DAYS)[plan]) // 60


def _bars(stretches: list[Stretch], at: int) -> tuple[tuple[str, str, str], ...]:
    whole = DAYS * MINUTES_PER_DAY
    return tuple(
        (percent(100 * (one.begin - at) / whole), percent(100 * (one.until - one.begin) / whole), KINDS[one.level])
        for one in stretches
    )


def _ticks(at: int, zone: str) -> list[tuple[str, str]]:
    here = local(at, zone)
    minutes = MINUTES_PER_DAY - here.hour * 60 - here.minute
    whole = DAYS * MINUTES_PER_DAY
    found = []
    for day in range(0, DAYS - 1, 2):
        after = minutes + day * MINUTES_PER_DAY
        there = local(at + after, zone)
        found.append((percent(100 * after / whole), f"{there.day} {there:%b}"))
    return found
