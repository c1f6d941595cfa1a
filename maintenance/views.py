"""Pages of defects: list, raise, one defect, correct, its tag."""

from __future__ import annotations

import copy
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from facility import events, house
from facility.access import Act, Visit, enter
from facility.compute.typed import whole
from facility.fields import nothing_to_choose, refuse
from facility.history import timeline
from facility.models import Answer
from facility.shown import page_number
from maintenance import services
from maintenance.forms import DefectCorrectionForm, DefectForm, plan_choices
from maintenance.models import Defect, Equipment, GasBank, WorkRecord
from maintenance.services.defects import Down, down_of, down_so_far, effect_of, effects_on
from maintenance.services.returning import repairs_of, tests_of

PAGE = 50


def _context(visit: Visit, **more: Any) -> dict[str, Any]:
    return {"visit": visit, "place": "plant", **more}


def defect_of(visit: Visit, pk: int) -> Defect:
    """Return a defect of the site, or 404."""
    rows = Defect.objects.filter(site=visit.site).select_related(
        "site", "equipment", "bank", "supersedes", "answer", "return_test"
    )
    return get_object_or_404(rows, pk=pk)


def defects(request: HttpRequest, site: str) -> HttpResponse:
    """List the open defects; with all=1 also those returned or superseded."""
    visit = enter(request, site, Act.SEE)
    rows = Defect.objects.filter(site=visit.site).select_related("equipment", "bank")
    past_too = request.GET.get("all") == "1"
    if not past_too:
        rows = rows.filter(retired_at=None, returned_at=None)
    if request.GET.get("equipment", "").isdecimal():
        rows = rows.filter(equipment=int(request.GET["equipment"]))
    number = page_number(request.GET.get("page"))
    first = (number - 1) * PAGE
    found = list(rows.order_by("-found_at", "-pk")[first : first + PAGE + 1])
    context = _context(
        visit, defects=found[:PAGE], past_too=past_too, number=number, more=len(found) > PAGE,
        may_raise=visit.may(Act.DEFECT),
    )  # fmt: skip
    return render(request, "maintenance/defects.html", context)


def raise_defect(request: HttpRequest, site: str) -> HttpResponse:
    """Raise a defect, prefilled from an item, a bank or the answer of a check."""
    visit = enter(request, site, Act.DEFECT)
    now = events.now()
    answer, work = _answer(request, visit), _work(request, visit)
    initial = {"found_at": answer.recorded_at if answer else now} | _offered(request, answer)
    form = DefectForm(request.POST or None, instance=Defect(site=visit.site, answer=answer), initial=initial)
    form.open_at(visit.site, now)
    if form.is_valid():
        late_min = int(house.values(visit.site)["late_entry_min"])
        late = now - form.cleaned_data["found_at"] > timedelta(minutes=late_min)
        try:
            defect = services.raise_defect(form.instance, by=visit.actor, late=late, work=work)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("Tag %(number)04d is raised. Hang the tag on it.") % {"number": defect.number})
            return redirect("maintenance:defect", site, defect.pk)
    thing = _thing(form, visit)
    effects = effects_on(visit.site, thing) if thing is not None else {}
    context = _context(
        visit, form=form, answer=answer, work=work, thing=thing, effects=effects, lacks=nothing_to_choose(form)
    )
    return render(request, "maintenance/raise_defect.html", context, status=422 if form.is_bound else 200)


def _thing(form: DefectForm, visit: Visit) -> Equipment | GasBank | None:
    """Return the item or bank that the form names, to say what its loss would do."""
    for name, rows in (("equipment", visit.site.equipment), ("bank", visit.site.banks)):
        text = str(form[name].value() or "")
        found: Any = rows.filter(pk=whole(text), retired_at=None).first()
        if found is not None:
            return found  # type: ignore[no-any-return]  # an item or a bank
    return None


def _work(request: HttpRequest, visit: Visit) -> WorkRecord | None:
    """Return the record of work whose result leads to a defect, named in the address."""
    text = request.GET.get("work", "")
    if not text.isdecimal():
        return None
    rows = WorkRecord.objects.filter(equipment__site=visit.site, retired_at=None)
    return get_object_or_404(rows.select_related("equipment"), pk=int(text))


def _answer(request: HttpRequest, visit: Visit) -> Answer | None:
    text = request.GET.get("answer", "")
    if not text.isdecimal():
        return None
    rows = Answer.objects.filter(check_done__sheet__chamber__site=visit.site)
    return get_object_or_404(rows.select_related("check_done__version"), pk=int(text))


def _offered(request: HttpRequest, answer: Answer | None) -> dict[str, Any]:
    """Return what is already known: from the address, or from the step that was answered."""
    initial: dict[str, Any] = {
        name: request.GET[name] for name in ("equipment", "bank", "what", "effect", "found_at") if request.GET.get(name)
    }
    if answer is None:
        return initial
    version = answer.check_done.version
    step: dict[str, Any] = next((one for one in version.steps if one.get("key") == answer.step), {})
    reading = f"{answer.value} {answer.unit}".strip() or answer.choice or answer.get_outcome_display()
    site = answer.check_done.sheet.chamber.site
    initial["what"] = f"{step.get('text', answer.step)}: {reading}. {answer.note}".strip()[:300]
    if step.get("effect") in {"stops", "limits", "watch"}:
        initial["effect"] = step["effect"]
    if step.get("tag"):
        initial["equipment"] = site.equipment.filter(tag=step["tag"]).values_list("pk", flat=True).first()
    if step.get("bank"):
        initial["bank"] = site.banks.filter(key=step["bank"]).values_list("pk", flat=True).first()
    return initial


def defect(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one defect, what it does, and what happened to it."""
    visit = enter(request, site, Act.SEE)
    row = defect_of(visit, pk)
    names = dict(plan_choices(visit.site))
    now = events.now()
    is_open = row.is_current and row.returned_at is None
    down = down_of([row.equipment_id], now)[row.equipment_id] if row.equipment_id else Down(0, 0)
    context = _context(
        visit, row=row, history=timeline(row, ZoneInfo(visit.site.zone)),
        plans=[names.get(key, key) for key in row.plans or []], next_row=getattr(row, "superseded_by", None),
        is_open=is_open, does=effect_of(row) if is_open else None, repairs=repairs_of(row), down=down,
        tests=tests_of(row) if row.equipment_id else [], down_min=down_so_far(row, now), may_repair=visit.may(Act.PLANT),
        may_raise=visit.may(Act.DEFECT), may_return=visit.may(Act.RETURN),
    )  # fmt: skip
    return render(request, "maintenance/defect.html", context)


def correct_defect(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Put a corrected statement in the place of a defect; the tag number stays."""
    visit = enter(request, site, Act.DEFECT)
    old = defect_of(visit, pk)
    new = copy.copy(old)
    new.pk, new._state.adding, new.row_version = None, True, 1
    form = DefectCorrectionForm(
        request.POST or None, instance=new, initial={"gas_suspect": "yes" if old.gas_suspect else "no"}
    )
    form.open_at(visit.site, events.now())
    if form.is_valid():
        try:
            stored = services.correct_defect(old, form.instance, by=visit.actor, reason=form.cleaned_data["reason"])
        except ValidationError as error:
            refuse(form, error)
        else:
            return redirect("maintenance:defect", site, stored.pk)
    context = _context(visit, form=form, row=old)
    return render(request, "maintenance/raise_defect.html", context, status=422 if form.is_bound else 200)


def tag(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show the label of a defect, 50 mm by 25 mm, with a code that opens its page."""
    import segno  # noqa: PLC0415  # only a printed code needs it; an idle server does not hold it

    visit = enter(request, site, Act.SEE)
    row = defect_of(visit, pk)
    address = request.build_absolute_uri(reverse("maintenance:defect", args=[site, pk]))
    code = segno.make(address, error="m", micro=False).svg_data_uri(border=0, scale=1)
    return render(request, "maintenance/tag.html", _context(visit, row=row, code=code, address=address))
