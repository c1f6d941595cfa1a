"""A call-out on one page: its clock, what stands between now and seal made, who is asked and who comes."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from facility import events
from facility.access import Act, Visit, enter
from facility.fields import refuse
from facility.http import StaffRequest
from facility.models import CheckSheet, Occasion, Person, SheetVersion
from facility.readiness.calling.forms import AnswerForm, AskForm, DecideForm, OverForm
from facility.readiness.emergency import crew_sum
from facility.readiness.fill import call_first
from facility.readiness.page_rows import page_rows
from facility.readiness.services import Answer, caution, chambers_of, evaluate_chamber
from facility.readiness.views import row_of
from treatments.calling import calls
from treatments.calling.short_checks import owed_by
from treatments.models import CallAnswer, CallOut, CallPerson, Plan

if TYPE_CHECKING:
    from datetime import datetime

UNPROCESSABLE = 422


def _call(visit: Visit, pk: int) -> CallOut:
    rows = CallOut.objects.filter(chamber__site=visit.site, retired_at=None)
    return get_object_or_404(rows.select_related("chamber__site", "plan", "run"), pk=pk)


@require_POST
def begin(request: StaffRequest, site: str) -> HttpResponse:
    """Start the clock: everybody on duty is asked. A second tap leads to the call that is on."""
    visit = enter(request, site, Act.RUN)
    chamber = next((one for one in chambers_of(visit.site) if request.POST.get("chamber", "") in ("", one.key)), None)
    if chamber is None:
        raise Http404
    now = events.now()
    on_duty = Person.objects.filter(
        site=visit.site, retired_at=None, duty__starts_at__lte=now, duty__ends_at__gt=now, duty__retired_at=None
    ).distinct()
    call = calls.begin(chamber, on_duty, by=visit.actor)
    return redirect("readiness:call", site, call.pk)


def call(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Show a call, and take what is decided about it."""
    visit = enter(request, site, Act.SEE)
    row = _call(visit, pk)
    now = events.now()
    forms_of = {"decide": DecideForm, "over": OverForm, "ask": AskForm}
    doing = request.POST.get("do", "")
    shown: dict[str, Any] = {
        name: form(
            request.POST if name == doing else None, initial={"shown_version": row.row_version, "plan": row.plan_id}
        )
        for name, form in forms_of.items()
    }
    shown["decide"].open_on(row.chamber)
    shown["ask"].open_on(row.chamber, [one.person_id for one in row.people.all()])
    if request.method == "POST":
        visit = enter(request, site, Act.RUN)
        if doing in shown and shown[doing].is_valid() and _do(doing, shown[doing], row, visit):
            return redirect("readiness:call", site, pk)
    status = UNPROCESSABLE if any(form.errors for form in shown.values()) else 200
    return render(request, "readiness/calling/call.html", _page(visit, row, now, shown), status=status)


def _do(doing: str, form: Any, row: CallOut, visit: Visit) -> bool:
    """Carry out one form; a refusal stands beside its field and nothing is lost."""
    typed = form.cleaned_data
    try:
        if doing == "decide":
            calls.decide(row, typed["plan"], by=visit.actor, shown_version=typed["shown_version"])
        elif doing == "over":
            calls.over(row, typed["outcome"], by=visit.actor, shown_version=typed["shown_version"])
        else:
            calls.ask(row, typed["person"], by=visit.actor)
    except ValidationError as error:
        refuse(form, error)
        return False
    return True


def _page(visit: Visit, row: CallOut, now: datetime, shown: dict[str, Any]) -> dict[str, Any]:
    answer = evaluate_chamber(row.chamber, now)
    plans = [row.plan.key] if row.plan is not None and row.plan.key in answer.facts.plans else list(answer.facts.plans)
    rows = [_between(visit, answer, plan) for plan in plans]
    beside = page_rows(visit.site, [row.chamber])
    return {
        "visit": visit, "place": "now", "row": row, "now": now, "forms": shown, "plans": rows, "caution": caution(),
        "people": list(row.people.filter(retired_at=None).select_related("person")), "answers": CallAnswer.choices,
        "minutes": int((now - row.began_at).total_seconds() // 60), "short_sheets": _short_sheets(row),
        "may_run": visit.may(Act.RUN) and row.ended_at is None, "may_waive": visit.may(Act.WAIVE),
        "may_check": visit.may(Act.CHECK), "owed": owed_by([row.pk]),
        "refused": [one["name"] for one in rows if one["blocked"]],
        "call_first": call_first(visit.site, beside, answer.at, answer.records.rule(row.chamber, "contact_confirm_days")),
    }  # fmt: skip


def _short_sheets(row: CallOut) -> list[tuple[CheckSheet, int]]:
    """Return the sheets before a run of the chamber that can be walked, each with how many steps are critical."""
    versions = SheetVersion.objects.filter(
        sheet__chamber=row.chamber, sheet__occasion=Occasion.BEFORE_RUN, sheet__retired_at=None, retired_at=None
    ).select_related("sheet")
    return [(one.sheet, sum(step.get("critical") is True for step in one.steps)) for one in versions]


def _between(visit: Visit, answer: Answer, plan: str) -> dict[str, Any]:
    """Return what stands between now and seal made for one plan, in the order of its needs."""
    found, row, shown = answer.evaluations[plan], answer.names.plans[plan], row_of(visit, answer, plan)
    findings = shown.evaluation["findings"].items()
    needs = answer.names.needs
    items = [
        {
            "key": key, "name": answer.names.need_names.get(key, key), "reason": answer.reason(plan, key),
            "waivable": needs[key].waivable if key in needs else answer.facts.plans[plan].crew_waivable,
        }
        for key in found.in_the_way
    ]  # fmt: skip
    blocked = str(found.state) in ("Not ready", "Not known")
    pk = Plan.objects.filter(chamber=answer.chamber, key=plan, retired_at=None).values_list("pk", flat=True).first()
    return {
        "key": plan,
        "pk": pk,
        "name": row.name,
        "party": row.party,
        "state": str(found.state),
        "items": items,
        "blocked": blocked,
        "crews": crew_sum(answer, plan),
        "shown": shown,
        "limits": [answer.names.need_names.get(key, key) for key, one in findings if one["state"] == "limits"],
    }


@require_POST
def answer_call(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Record what somebody who was asked has said."""
    visit = enter(request, site, Act.RUN)
    row = _call(visit, pk)
    form = AnswerForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("The answer was not understood. Choose one of those offered."))
        return redirect("readiness:call", site, pk)
    asked = get_object_or_404(CallPerson, call=row, pk=form.cleaned_data["person"])
    minutes = form.cleaned_data["minutes"]
    expected = events.now() + timedelta(minutes=minutes) if minutes is not None else None
    try:
        calls.answer(asked, form.cleaned_data["said"], by=visit.actor, expected_at=expected)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("readiness:call", site, pk)
