"""Pages of work done: list, one record, record, correct."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from facility import events, house
from facility.access import Act, Visit, enter
from facility.history import timeline
from facility.services import ChangedMeanwhileError
from facility.shown import page_number
from maintenance.models import Equipment, EquipmentKind, IntervalRule, WorkKind, WorkRecord, WorkResult
from maintenance.services import asks_for_defect, same_person
from maintenance.working import taking
from maintenance.working.every import ELSEWHERE, KINDS, guessed, offered
from maintenance.working.forms import WorkCorrectionForm, WorkForm
from maintenance.working.shown import shown_details, shown_lines, shown_readings
from maintenance.working.unanswered import failed_without_defect

if TYPE_CHECKING:
    from datetime import date

PAGE = 50


def page(visit: Visit, **more: Any) -> dict[str, Any]:
    """Return what every page of plant needs."""
    return {"visit": visit, "place": "plant", **more}


def today_at(visit: Visit) -> date:
    """Return the day that it is at the site."""
    return events.now().astimezone(ZoneInfo(visit.site.zone)).date()


def record_of(visit: Visit, pk: int) -> WorkRecord:
    """Return a record of work of the site, or 404."""
    rows = WorkRecord.objects.filter(equipment__site=visit.site)
    return get_object_or_404(
        rows.select_related("equipment__site", "rule__equipment", "evidence", "supersedes", "doubted_by"), pk=pk
    )


def work_list(request: HttpRequest, site: str) -> HttpResponse:
    """List records of work, newest first; narrowed by item, sort, result and words."""
    visit = enter(request, site, Act.SEE)
    rows = WorkRecord.objects.filter(equipment__site=visit.site, retired_at=None).select_related("equipment", "rule")
    wanted = {name: request.GET.get(name, "") for name in ("equipment", "kind", "result", "waiting", "q")}
    rows = _narrowed(rows, wanted)
    number = page_number(request.GET.get("page"))
    first = (number - 1) * PAGE
    found = list(rows.order_by("-done_on", "-pk")[first : first + PAGE + 1])
    items = Equipment.objects.filter(site=visit.site, retired_at=None).order_by("tag")
    context = page(
        visit, rows=found[:PAGE], more=len(found) > PAGE, next_page=urlencode(wanted | {"page": str(number + 1)}),
        wanted=wanted, items=items, kinds=WorkKind.choices, results=WorkResult.choices, may_record=visit.may(Act.PLANT),
        asking=failed_without_defect(visit.site),
    )  # fmt: skip
    return render(request, "maintenance/working/list.html", context)


def _narrowed(rows: Any, wanted: dict[str, str]) -> Any:
    if wanted["equipment"].isdecimal():
        rows = rows.filter(equipment=int(wanted["equipment"]))
    if wanted["kind"] in WorkKind.values:
        rows = rows.filter(kind=wanted["kind"])
    if wanted["result"] in WorkResult.values:
        rows = rows.filter(result=wanted["result"])
    if wanted["waiting"] == "1":
        rows = rows.filter(needs_second_look=True)
    if wanted["q"].strip():
        rows = rows.filter(note__icontains=wanted["q"].strip()) | rows.filter(done_by__icontains=wanted["q"].strip())
    return rows


def work(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one record with its readings, its sum, its paper, and what happened to it."""
    visit = enter(request, site, Act.SEE)
    row = record_of(visit, pk)
    kind = KINDS[row.kind]
    first_reader = str(row.details.get("typed_by") or row.recorded_by)
    context = page(
        visit, row=row, kind=kind, history=timeline(row, ZoneInfo(visit.site.zone)), details=shown_details(kind, row.details),
        lines=shown_lines(row.computed), readings=shown_readings(row.readings),
        next_row=getattr(row, "superseded_by", None), asks=row.is_current and asks_for_defect(row), raise_query=raise_query(row, visit),
        may_correct=row.is_current and visit.may(Act.PLANT) and row.kind not in ELSEWHERE, may_raise=visit.may(Act.DEFECT),
        may_look=visit.may(Act.PLANT) and row.needs_second_look and not same_person(first_reader, visit.actor.name),
    )  # fmt: skip
    return render(request, "maintenance/working/work.html", context)


def raise_query(row: WorkRecord, visit: Visit) -> str:
    """Return what the form of a defect is filled in with from a record: item, words, since when."""
    outside = [one for one in row.readings if one.get("outcome") == "outside limits"]
    said = "; ".join(f"{one['label']} {one['value']} {one['unit']}".strip() for one in outside) or row.note
    what = _("%(act)s: %(said)s") % {"act": row.rule.name if row.rule else row.get_kind_display(), "said": said}
    found = {"equipment": str(row.equipment_id), "work": str(row.pk), "what": what.strip().removesuffix(":")[:300]}
    if row.rule is not None:
        found["effect"] = row.rule.effect
    if row.done_on != today_at(visit):
        found["found_at"] = f"{row.done_on.isoformat()} 00:00"
    return urlencode(found)


def record_work(request: HttpRequest, site: str) -> HttpResponse:
    """Record work on an item: first the item and its sort, then what that sort asks for."""
    visit = enter(request, site, Act.PLANT)
    item, rule = _item(request, visit)
    key = request.GET.get("kind", "")
    if item is not None and not key and rule is not None:
        key = guessed(rule.name, item.kind)
    if item is None or key not in KINDS or key in ELSEWHERE:
        return _choose(request, visit, item)
    form = WorkForm(request.POST or None, request.FILES or None, initial=_initial(visit, rule))
    _open(form, key, visit, item, rule)
    form.offer(taking.newest_of_kind(item, key))
    if form.is_valid():
        try:
            row = taking.record(form, WorkRecord(equipment=item, kind=key), visit)
        except ValidationError as error:
            form.refuse(error)
        else:
            return _after(request, row, visit)
    context = page(visit, form=form, item=item, kind=KINDS[key], words=WorkKind(key).label, rule=rule)
    return render(request, "maintenance/working/record.html", context, status=422 if form.is_bound else 200)


def _item(request: HttpRequest, visit: Visit) -> tuple[Equipment | None, IntervalRule | None]:
    rule_pk, item_pk = request.GET.get("rule", ""), request.GET.get("equipment", "")
    if rule_pk.isdecimal():
        rules = IntervalRule.objects.filter(equipment__site=visit.site, retired_at=None).select_related("equipment")
        rule = get_object_or_404(rules, pk=int(rule_pk))
        return rule.equipment, rule
    if item_pk.isdecimal():
        return get_object_or_404(Equipment, pk=int(item_pk), site=visit.site, retired_at=None), None
    return None, None


def _choose(request: HttpRequest, visit: Visit, item: Equipment | None) -> HttpResponse:
    items = Equipment.objects.filter(site=visit.site, retired_at=None).order_by("tag")
    kinds = offered(item.kind if item else EquipmentKind.OTHER)
    context = page(visit, items=items, item=item, kinds=kinds, rule=request.GET.get("rule", ""))
    return render(request, "maintenance/working/choose.html", context)


def _initial(visit: Visit, rule: IntervalRule | None) -> dict[str, Any]:
    return {"done_on": today_at(visit), "done_by": visit.actor.name, "rule": rule.pk if rule else None}


def _open(form: WorkForm, key: str, visit: Visit, item: Equipment, rule: IntervalRule | None) -> None:
    form.open_at(item, KINDS[key], today_at(visit), dict(house.values(visit.site)))
    totals = taking.totals_at(visit, events.now())
    form.counts = taking.cycles_of(item, totals)
    if rule is not None and totals.get(rule.counter_id or 0):
        form.tell_count(totals[rule.counter_id or 0][-1])


def _after(request: HttpRequest, row: WorkRecord, visit: Visit) -> HttpResponse:
    """Lead a failed or outlying result straight to the defect, everything else to the record."""
    site = visit.site.key
    if asks_for_defect(row):
        messages.warning(
            request, _("The result is recorded: it failed or lies outside. Now raise the defect, so that it counts.")
        )
        return redirect(f"{reverse('maintenance:raise_defect', args=[site])}?{raise_query(row, visit)}")
    messages.success(request, _("Recorded: %(what)s.") % {"what": row})
    return redirect("maintenance:work", site, row.pk)


def correct_work(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Put a corrected record in the place of one; both stay readable."""
    visit = enter(request, site, Act.PLANT)
    old = record_of(visit, pk)
    if not old.is_current or old.kind in ELSEWHERE:
        messages.error(
            request, _("This record cannot be corrected here: it no longer counts, or has a page of its own.")
        )
        return redirect("maintenance:work", site, pk)
    form = WorkCorrectionForm(request.POST or None, request.FILES or None, initial=initial_of(old))
    _open(form, old.kind, visit, old.equipment, old.rule)
    if form.is_valid():
        try:
            row = taking.correct(form, old, visit)
        except ChangedMeanwhileError as error:
            form.add_error(None, error)
        except ValidationError as error:
            form.refuse(error)
        else:
            return _after(request, row, visit)
    context = page(
        visit, form=form, item=old.equipment, kind=KINDS[old.kind], words=old.get_kind_display(), row=old, rule=old.rule
    )
    return render(request, "maintenance/working/record.html", context, status=422 if form.is_bound else 200)


def initial_of(old: WorkRecord) -> dict[str, Any]:
    """Return a record's values for the form that corrects it."""
    found: dict[str, Any] = {name: getattr(old, name) for name in taking.SAME_NAME if name not in ("rule", "result")}
    found |= {"rule": old.rule_id, "done_on": f"{old.done_on:%b %Y}" if old.month_only else old.done_on}
    found |= {"result": old.result, "read_off": old.needs_second_look, "has_paper": old.evidence_id is not None}
    if old.details.get("due_reckoned"):
        found["due_on"] = None
    found["why_better"] = old.details.get("why_better", "")
    found |= {f"d_{name}": value for name, value in old.details.items()}
    for row in old.readings:
        if not row.get("reckoned"):
            found |= _reading_initial(row)
    return found


def _reading_initial(row: dict[str, Any]) -> dict[str, Any]:
    own = row["name"].startswith("own_")
    name = row["name"].replace("own_", "o_") if own else f"r_{row['name']}"
    found = {name: row["value"], f"{name}_unit": row["unit"], f"{name}_unread": row["outcome"] == "could not read"}
    if own:
        found[f"{name}_label"] = row["label"]
    return found | {f"{name}_{side}": row[side] for side in row.get("typed", ())}
