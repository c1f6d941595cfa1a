"""Pages of upkeep: what falls due, one rule, events, and looks that put an act off."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from facility import events, evidence
from facility.access import Act, Visit, enter
from facility.fields import day_text, refuse
from facility.history import timeline
from facility.services import ChangedMeanwhileError
from maintenance.models import Deferral, Equipment, EquipmentKind, Happening, IntervalRule
from maintenance.upkeep import services
from maintenance.upkeep.adopting import by_key, deviations
from maintenance.upkeep.forms import HappeningForm, PutOffForm
from maintenance.upkeep.rule_form import ChangeRuleForm
from maintenance.upkeep.state import Word, detail, due_states, on_of
from maintenance.upkeep.words import cause_text, plain, sides_in_words

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from maintenance.upkeep.state import DueState

SPANS = (30, 90, 365)
NOW_WORDS = frozenset({Word.OVERDUE, Word.NEVER, Word.SECOND_LOOK, Word.IN_DOUBT})
MARKS = {
    Word.OVERDUE: "over", Word.NEVER: "unknown", Word.SECOND_LOOK: "second", Word.IN_DOUBT: "unknown",
    Word.SOON: "due", Word.IN_DATE: "indate", Word.NOT_ASKED: "",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """One act of the list, its state in words and its mark."""

    state: DueState
    mark: str
    word: str
    days: int | None
    why: str

    @property
    def late(self) -> int:
        """Days since it was due, 0 where it is not overdue or only projected."""
        return 0 if self.days is None or self.state.projected else max(-self.days, 0)


def today_of(visit: Visit) -> date:
    """Return the civil day at the site."""
    return events.now().astimezone(ZoneInfo(visit.site.zone)).date()


def context_of(visit: Visit, **more: Any) -> dict[str, Any]:
    """Return what every page of upkeep needs."""
    return {
        "visit": visit,
        "place": "plant",
        "may_plant": visit.may(Act.PLANT),
        "may_rules": visit.may(Act.RULES),
        **more,
    }


def word_text(word: Word) -> str:
    """Return a state in the reader's language."""
    return {
        Word.IN_DATE: _("In date"), Word.SOON: _("Due soon"), Word.OVERDUE: _("Overdue"), Word.NEVER: _("Not known"),
        Word.SECOND_LOOK: _("Waiting for second look"), Word.IN_DOUBT: _("In doubt"),
        Word.NOT_ASKED: _("Nothing asks for it now"),
    }[word]  # fmt: skip


def line_of(state: DueState, today: date) -> Line:
    """Return one act as the list prints it."""
    event = state.first.event if state.first else ""
    why = cause_text(state.cause, event)
    if state.word is Word.NEVER:
        why = _("never recorded") if state.reckoned.never else _("cannot be told from what is recorded")
    return Line(state, MARKS[state.word], word_text(state.word), state.days_left(today), why)


def due(request: HttpRequest, site: str) -> HttpResponse:
    """List what falls due: overdue and not known, soon, later; by days and kind of item."""
    visit = enter(request, site, Act.SEE)
    today = today_of(visit)
    days = int(request.GET["days"]) if request.GET.get("days") in {str(one) for one in SPANS} else SPANS[1]
    kind = request.GET.get("kind", "")
    lines = [line_of(one, today) for one in due_states(visit.site, today) if kind in ("", one.kind)]
    now = [one for one in lines if one.state.word in NOW_WORDS]
    soon = [one for one in lines if one.state.word is Word.SOON]
    later = [one for one in lines if one.state.word is Word.IN_DATE and one.days is not None and one.days <= days]
    context = context_of(
        visit, groups=[(_("Overdue or not known"), now), (_("Soon"), soon),
                       (_("Later, within %(days)d days") % {"days": days}, later)],
        days=days, spans=SPANS, kind=kind, kinds=EquipmentKind.choices, now=now, soon=soon,
    )  # fmt: skip
    return render(request, "maintenance/upkeep/due.html", context)


def rule_of(visit: Visit, pk: int) -> IntervalRule:
    """Return a rule of the site, or 404."""
    rows = IntervalRule.objects.filter(equipment__site=visit.site).select_related("equipment__site", "counter")
    return get_object_or_404(rows, pk=pk)


def rule(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one rule with all it is reckoned from; a sent form changes it."""
    visit = enter(request, site, Act.PLANT if request.method == "POST" else Act.SEE)
    row = rule_of(visit, pk)
    form = ChangeRuleForm(request.POST or None, instance=rule_of(visit, pk), initial={"shown_version": row.row_version})
    form.open_at(visit.site)
    if form.is_valid():
        typed = form.cleaned_data
        try:
            services.change_rule(
                form.instance, by=visit.actor, reason=typed["reason"], shown_version=typed["shown_version"]
            )
        except (ChangedMeanwhileError, ValidationError) as error:
            refuse(form, error)
        else:
            messages.success(request, _("The rule is changed."))
            return redirect("maintenance:rule", site, pk)
    return render(
        request, "maintenance/upkeep/rule.html", _rule_context(visit, row, form), status=422 if form.is_bound else 200
    )


def _rule_context(visit: Visit, row: IntervalRule, form: ChangeRuleForm) -> dict[str, Any]:
    today = today_of(visit)
    state, terms, past = detail(row, on_of(visit.site, today))
    unit = row.counter.unit if row.counter else ""
    return context_of(
        visit, row=row, form=form, state=state, line=line_of(state, today), today=today,
        sides=sides_in_words(state, terms, past, unit),
        counts=[(cause_text(one.cause), plain(one.count), plain(one.limit)) for one in state.counts],
        acts=list(row.work.filter(retired_at=None).order_by("-done_on", "-pk")[:10]),
        looks=list(row.deferrals.filter(retired_at=None)),
        happenings=list(row.equipment.happenings.filter(retired_at=None)[:10]),
        deviations=deviations(row), adopted=by_key(row.requirement) if row.requirement else None,
        may_put_off=terms.may_be_put_off, history=timeline(row, ZoneInfo(visit.site.zone)),
    )  # fmt: skip


def add_happening(request: HttpRequest, site: str) -> HttpResponse:
    """Record that something happened to an item."""
    visit = enter(request, site, Act.PLANT)
    initial = {
        "happened_on": today_of(visit),
        "reported_by": visit.actor.name,
        "equipment": request.GET.get("equipment"),
    }
    form = HappeningForm(request.POST or None, instance=Happening(), initial=initial)
    form.open_at(visit.site, today_of(visit))
    if form.is_valid():
        try:
            stored = services.add_happening(form.instance, by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            asked = [one.name for one in stored.equipment.rules.filter(retired_at=None, triggers__contains=stored.kind)]
            said = {"what": ", ".join(asked)}
            messages.success(request, _("Recorded. It asks anew for: %(what)s.") % said if asked else _("Recorded."))
            return redirect("records:detail", site, "equipment", stored.equipment_id)
    title = _("Something happened to an item")
    return _form_page(request, visit, form, {"title": title, "back": "due", "note": ""})


def put_off(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Record a look that puts an act off, or found damage."""
    visit = enter(request, site, Act.PLANT)
    row, on = rule_of(visit, pk), on_of(visit.site, today_of(visit))
    initial = {"looked_on": on.today, "looked_by": visit.actor.name}
    form = PutOffForm(request.POST or None, request.FILES or None, instance=Deferral(rule=row), initial=initial)
    form.open_at(visit.site, on.today)
    if form.is_valid():
        try:
            if form.cleaned_data.get("proof"):
                form.instance.evidence = evidence.accept(form.cleaned_data["proof"], site=visit.site, by=visit.actor)
            services.put_off(form.instance, on, by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            return redirect("maintenance:rule", site, pk)
    state, _terms, _past = detail(row, on)
    found = state.reckoned.put_off
    note = "" if found is None else _("Due %(due)s. Never later than %(stop)s.") % {
        "due": day_text(found.due_on), "stop": day_text(found.hard_stop_on)}  # fmt: skip
    title = _("Put off: %(rule)s") % {"rule": row}
    return _form_page(request, visit, form, {"title": title, "back": "due", "note": note})


def _form_page(request: HttpRequest, visit: Visit, form: Any, about: dict[str, str]) -> HttpResponse:
    context = context_of(visit, form=form, **about)
    return render(request, "maintenance/upkeep/form.html", context, status=422 if form.is_bound else 200)


def item_of(visit: Visit, pk: int) -> Equipment:
    """Return an item of the site, or 404."""
    return get_object_or_404(Equipment.objects.filter(site=visit.site), pk=pk)
