"""Pages of plans and of runs already recorded."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseFormSet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from facility import events, house, services
from facility.access import Act, Visit, enter
from facility.compute import typed
from facility.fields import refuse
from facility.history import timeline
from facility.services import ChangedMeanwhileError
from facility.shown import page_number
from treatments.compute.plans import parse_extensions, run_min
from treatments.forms import ExtensionRows, PlanForm, RetireForm, RoleRows, kind_choices, rows_of
from treatments.models import Plan, Run
from treatments.services import known_tables, put_in_force

PAGE = 50


def context(visit: Visit, **more: Any) -> dict[str, Any]:
    """Return what every page of the plans needs."""
    return {"visit": visit, "place": "setup", "may_rules": visit.may(Act.RULES), **more}


def plans(request: HttpRequest, site: str) -> HttpResponse:
    """List the plans in force, in house order; with all=1 also the versions before."""
    visit = enter(request, site, Act.SEE)
    rows = Plan.objects.filter(chamber__site=visit.site).select_related("chamber")
    past_too = request.GET.get("all") == "1"
    if not past_too:
        rows = rows.filter(retired_at=None)
    found = rows.order_by("chamber__key", "place", "key", "-version")[:200]
    lines = [(row, run_min(row.table_min, parse_extensions(row.extensions)) + row.margin_min) for row in found]
    return render(request, "treatments/plans.html", context(visit, lines=lines, past_too=past_too))


def found_plan(visit: Visit, pk: int) -> Plan:
    """Return a plan of the site, of any version. Errors: Http404."""
    return get_object_or_404(Plan.objects.filter(chamber__site=visit.site).select_related("chamber__site"), pk=pk)


def show_plan(request: HttpRequest, visit: Visit, row: Plan, **more: Any) -> HttpResponse:
    """Show one version of a plan: each number, where it goes, and what it rests on; ``more`` for its template."""
    extensions = parse_extensions(row.extensions)
    lasts = run_min(row.table_min, extensions)
    names = dict(kind_choices(visit.site))
    tables = known_tables(visit.site)
    shown = context(
        visit, row=row, table_name=tables.get(row.table, ""), extensions=[(one, one.minutes * one.allowed) for one in extensions], lasts=lasts,
        duration=lasts + row.margin_min, needs=list(row.needs.order_by("key")),
        crews=[
            (title, [one | {"named": [names.get(key, key) for key in one["qualifications"]]} for one in roles])
            for title, roles in ((_("Crew"), row.roles), (_("Emergency crew"), row.emergency_roles))
        ],
        gas=[(name, one["demand"], one["reserve"], one["demand"] + one["reserve"]) for name, one in row.gas.items()],
        versions=list(Plan.objects.filter(chamber=row.chamber_id, key=row.key).order_by("-version")),
        history=timeline(row, ZoneInfo(visit.site.zone)),
    )  # fmt: skip
    return render(request, "treatments/plan.html", shown | more)


@dataclass(frozen=True, slots=True)
class Editor:
    """The forms of one plan: its single values, its extensions, its crew."""

    form: PlanForm
    extensions: BaseFormSet[Any]
    roles: BaseFormSet[Any]
    emergency: BaseFormSet[Any]

    def is_valid(self) -> bool:
        """Check every form, so that all refusals are shown at once."""
        crews = [self.roles.is_valid(), not self.emergency.is_bound or self.emergency.is_valid()]
        return all([self.form.is_valid(), self.extensions.is_valid(), *crews])

    def plan(self) -> Plan:
        """Return the plan that was typed, its JSON not yet parsed."""
        made = self.form.instance
        made.extensions, made.roles, made.gas = rows_of(self.extensions), rows_of(self.roles), self.form.gas_json()
        if self.emergency.is_bound:
            made.emergency_roles = rows_of(self.emergency)
        return made


@dataclass(frozen=True, slots=True)
class Start:
    """What the forms of a plan begin with where it was worked out: single values, extensions, gas and crews as stored."""

    values: dict[str, Any]
    extensions: list[dict[str, int]]
    gas: dict[str, Any]
    roles: list[dict[str, Any]]
    emergency_roles: list[dict[str, Any]]


def editor(data: QueryDict | None, visit: Visit, old: Plan | None, start: Start | None = None) -> Editor:
    """Return the forms of a new plan or of a new version of ``old``, filled in with ``start`` where it is given."""
    now = events.now()
    fresh = Plan()
    if old:
        fresh = Plan(chamber=old.chamber, key=old.key, gas=old.gas, emergency_roles=old.emergency_roles)
    margin = int(house.values(visit.site)["margin_min"])
    initial: dict[str, Any] = {"in_force_from": now, "margin_min": margin}
    if old is not None:
        shared = ("name", "party", "place", "table", "table_min", "margin_min", "wait_min", "crew_waivable", "source")
        initial |= {name: getattr(old, name) for name in shared} | {"needs": old.needs.all()}
    extensions = start.extensions if start else old.extensions if old else []
    crews = start or old
    if start is not None:
        initial |= start.values
        fresh.gas = start.gas
    form = PlanForm(data, instance=fresh, initial=initial)
    form.open_at(visit.site, old)
    kinds = kind_choices(visit.site)
    # what was sent stands alone: a row as it was in the old version would else count as left empty
    return Editor(
        form,
        ExtensionRows(data, prefix="extension", initial=extensions if data is None else None),
        _crew_rows(data, "role", crews.roles if crews else [], kinds),
        _crew_rows(data, "emergency", crews.emergency_roles if crews else [], kinds),
    )


def _crew_rows(data: QueryDict | None, prefix: str, roles: list[Any], kinds: list[tuple[str, str]]) -> BaseFormSet[Any]:
    """Return the rows of a crew. A form that was sent without the emergency crew's rows leaves it as it was."""
    sent = data if prefix == "role" or (data is not None and f"{prefix}-TOTAL_FORMS" in data) else None
    rows = [{**one, "start": one["from"], "end": one["to"]} for one in roles] if sent is None else None
    return RoleRows(sent, prefix=prefix, initial=rows, form_kwargs={"kinds": kinds})


def edit_plan(request: HttpRequest, site: str, pk: int | None = None) -> HttpResponse:
    """Put a new plan, or a new version of one, in force."""
    visit = enter(request, site, Act.RULES)
    old = found_plan(visit, pk) if pk is not None else None
    filled = editor(request.POST or None, visit, old)
    status = 200
    if "more" in request.POST:
        filled = _with_spare_rows(request, visit, old)
    elif request.method == "POST":
        status = 422
        if filled.is_valid():
            typed = filled.form.cleaned_data
            try:
                stored = put_in_force(
                    filled.plan(), list(typed["needs"]), by=visit.actor, reason=typed["reason"], old=old
                )
            except ChangedMeanwhileError as error:
                status = 409
                filled.form.add_error(None, error)
            except ValidationError as error:
                refuse(filled.form, error)
            else:
                messages.success(
                    request, _("In force: %(plan)s, version %(n)d.") % {"plan": stored, "n": stored.version}
                )
                return redirect("treatments:plan", site, stored.pk)
    shown = context(
        visit, old=old, form=filled.form, extensions=filled.extensions, roles=filled.roles, emergency=filled.emergency
    )
    return render(request, "treatments/edit_plan.html", shown, status=status)


def _with_spare_rows(request: HttpRequest, visit: Visit, old: Plan | None) -> Editor:
    """Return the same forms with two more empty rows; what was typed stays."""
    data = request.POST.copy()
    for prefix in ("extension", "role", "emergency"):
        if f"{prefix}-TOTAL_FORMS" not in data and prefix == "emergency":
            continue
        total = data.get(f"{prefix}-TOTAL_FORMS", "0")
        data[f"{prefix}-TOTAL_FORMS"] = str(min(typed.whole(total), 36) + 2)
    return editor(data, visit, old)


def retire_plan(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Take a plan out of force."""
    visit = enter(request, site, Act.RULES)
    row = found_plan(visit, pk)
    form = RetireForm(request.POST or None)
    if form.is_valid():
        try:
            services.retire(row, by=visit.actor, reason=form.cleaned_data["reason"], action="plan taken out of force")
        except ValidationError as error:
            refuse(form, error)
        else:
            return redirect("treatments:plans", site)
    shown = context(visit, row=row, form=form, rests=[], back="treatments:plan")
    return render(request, "treatments/retire.html", shown, status=422 if form.is_bound else 200)


def _day(text: str | None) -> date | None:
    """Return a day of an address; none where it is no day, so that a wrong address shows every run."""
    try:
        return typed.day(text or "")
    except typed.TypedError:
        return None


def runs(request: HttpRequest, site: str) -> HttpResponse:
    """List the runs, newest first; with from= and to= (days) those that left surface in between."""
    visit = enter(request, site, Act.SEE)
    number = page_number(request.GET.get("page"))
    first = (number - 1) * PAGE
    rows = Run.objects.filter(chamber__site=visit.site, retired_at=None).select_related("chamber", "plan")
    begin, end = _day(request.GET.get("from")), _day(request.GET.get("to"))
    zone = ZoneInfo(visit.site.zone)
    if begin is not None:
        rows = rows.filter(started_at__gte=datetime.combine(begin, time.min, zone))
    if end is not None:
        rows = rows.filter(started_at__lt=datetime.combine(end + timedelta(days=1), time.min, zone))
    found = list(rows[first : first + PAGE + 1])
    asked = "".join(f"from={begin.isoformat()}&" if begin else "") + (f"to={end.isoformat()}&" if end else "")
    shown = context(visit, runs=found[:PAGE], more=len(found) > PAGE, number=number, begin=begin, end=end, asked=asked)
    shown |= {"place": "records"}
    return render(request, "treatments/runs.html", shown)
