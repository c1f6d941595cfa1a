"""Pages: a plan worked out from a table, putting it in force, and a plan in force beside its table."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

from django.http import QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility import events, house
from facility.access import Act, enter
from treatments.compute.plan_asking import PlanDemandError
from treatments.compute.profile import ProfileError
from treatments.models import Plan
from treatments.plan_maker.banks import bank_lines
from treatments.plan_maker.compare import compare
from treatments.plan_maker.crew import crew_values, emergency_crew, least_crew
from treatments.plan_maker.forms import PlanMakerForm, completed
from treatments.plan_maker.inputs import as_text
from treatments.plan_maker.parts import cautions, parts_of
from treatments.plan_maker.working import Worked, work_out
from treatments.reference.laws import wait_rules
from treatments.table_book.tables import TableInForce, TableStanding, all_tables
from treatments.views.plans import Start, context, editor, found_plan, show_plan

if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.http import HttpRequest, HttpResponse

    from facility.access import Visit

HOUR_MIN = 60


@dataclass(frozen=True, slots=True)
class Made:
    """What the address asks for: the form, the table in force, and the plan if it can be worked out.

    ``query``: what the address asks for with every suggestion in it.
    """

    form: PlanMakerForm
    found: TableInForce | None
    worked: Worked | None
    query: str


def _made(request: HttpRequest, visit: Visit) -> Made:
    """Work out what the address asks for; what cannot be is said in the form."""
    tables = all_tables(visit.site)
    found = next((one for one in tables if one.table.key == request.GET.get("table")), None)
    chamber = visit.site.chambers.filter(retired_at=None).order_by("pk").first()
    table = found.table if found else None
    data = _query(completed(request.GET, table, chamber)) if "table" in request.GET else None
    form = PlanMakerForm(data, initial={"chamber": chamber})
    form.open_at(visit.site, tables, table)
    worked = None
    if form.is_valid():
        _same_chamber(visit, form)
    if form.is_valid() and found is not None:
        try:
            worked = work_out(found, form.cleaned_data["chamber"], form.asking(found.table))
        except (PlanDemandError, ProfileError) as error:
            name = getattr(error, "name", None)
            form.add_error(name if name in form.fields else None, str(error))
    return Made(form, found, worked, data.urlencode() if data else "")


def _query(values: Mapping[str, Any]) -> QueryDict:
    found = QueryDict(mutable=True)
    found.update(values)
    return found


def _same_chamber(visit: Visit, form: PlanMakerForm) -> None:
    """Refuse a new version of a plan worked out from the locks of another chamber."""
    number, chamber = form.cleaned_data["old"], form.cleaned_data["chamber"]
    if number is None:
        return
    old = Plan.objects.filter(chamber__site=visit.site, pk=number).select_related("chamber").first()
    if old is None:
        form.add_error(None, _("There is no plan %d at this site. Begin without one.") % number)
    elif old.chamber_id != chamber.pk:
        form.add_error("chamber", _("This plan is of %(chamber)s: its locks count. Choose that chamber.")
                       % {"chamber": old.chamber})  # fmt: skip


def make_plan(request: HttpRequest, site: str) -> HttpResponse:
    """Work a plan out from a table that counts at the site; nothing is stored."""
    visit = enter(request, site, Act.SEE)
    made = _made(request, visit)
    more = context(visit, form=made.form, found=made.found, worked=made.worked, query=made.query)
    if made.worked is not None:
        margin = int(house.values(visit.site)["margin_min"])
        more |= {
            "parts": parts_of(made.worked, margin), "cautions": cautions(made.worked),
            "banks": bank_lines(made.worked, events.now()), "old": made.form.cleaned_data["old"],
            "standing": made.worked.found.standing,
            "unconfirmed": made.worked.found.standing == TableStanding.UNCONFIRMED,
        }  # fmt: skip
    status = 422 if made.form.is_bound and made.worked is None else 200
    return render(request, "treatments/plan_maker/make.html", more, status=status)


def plan_from_table(request: HttpRequest, site: str) -> HttpResponse:
    """Show the form of a plan filled in with what was worked out; a person completes it and puts it in force."""
    visit = enter(request, site, Act.RULES)
    made = _made(request, visit)
    if made.worked is None:
        return redirect(f"{reverse('treatments:make_plan', args=[site])}?{request.GET.urlencode()}")
    number = made.form.cleaned_data["old"]
    old = found_plan(visit, number) if number is not None else None
    worked = made.worked
    crews = (old.roles, old.emergency_roles) if old else (least_crew(worked.asking.tenders), emergency_crew())
    filled = editor(None, visit, old, Start(_values(worked, old), _extensions(worked), _gas(worked, old), *crews))
    address = (
        reverse("treatments:change_plan", args=[site, old.pk]) if old else reverse("treatments:new_plan", args=[site])
    )
    more = context(visit, old=old, form=filled.form, extensions=filled.extensions, roles=filled.roles,
                   emergency=filled.emergency, crew_values=[] if old else crew_values(),
                   send_to=address, worked_out=True)  # fmt: skip
    return render(request, "treatments/edit_plan.html", more)


def plan(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one version of a plan, and beside it what its table would give now."""
    visit = enter(request, site, Act.SEE)
    row = found_plan(visit, pk)
    beside = compare(row) if row.is_current else None
    query = ""
    if beside is not None and beside.query is not None:
        query = _query(beside.query).urlencode()
    return show_plan(request, visit, row, beside=beside, beside_query=query)


def _values(worked: Worked, old: Plan | None) -> dict[str, Any]:
    """Return the single values that were worked out; those of a plan in force keep its name and place."""
    table, asking = worked.found.table, worked.asking
    found: dict[str, Any] = {
        "table": table.key, "table_min": worked.demand.table_min, "party": _party(worked),
        "source": as_text(table.key, worked.found.version, asking),
    }  # fmt: skip
    if old is None:
        key = f"{slugify(table.key.replace('.', '-'))}-{asking.patients}-{asking.tenders}"
        found |= {"chamber": worked.chamber.pk, "name": table.title, "key": key[:60]}
        if (wait := _wait_min(table.key)) is not None:
            found["wait_min"] = wait
    return found


def _party(worked: Worked) -> str:
    patients, tenders = worked.asking.patients, worked.asking.tenders
    first = ngettext("%(n)d patient", "%(n)d patients", patients) % {"n": patients}
    return f"{first}, {ngettext('%(n)d tender', '%(n)d tenders', tenders) % {'n': tenders}}"


def _wait_min(table: str) -> int | None:
    """Return the longest wait of a tender before the next run that a revision states, in minutes."""
    found = [
        one.hours for one in wait_rules()
        if one.person == "tender" and one.purpose == "next_run" and table.removesuffix("-older") in one.tables
    ]  # fmt: skip
    return ceil(max(found) * HOUR_MIN) if found else None


def _extensions(worked: Worked) -> list[dict[str, int]]:
    return [{"minutes": one.minutes, "allowed": one.allowed} for one in worked.demand.added]


def _gas(worked: Worked, old: Plan | None) -> dict[str, Any]:
    """Return demand and reserve of each gas; what is not stated stays as it was, or empty."""
    found: dict[str, Any] = dict(old.gas) if old else {}
    for one in worked.amounts:
        if one.demand is not None and (one.needed or one.gas in found):
            found[one.gas] = {"demand": one.demand, "reserve": one.reserve}
    return found
