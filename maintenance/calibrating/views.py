"""Pages of comparisons: enter one, correct it, a laboratory's own, one comparison, the drift of an instrument."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from facility import evidence
from facility.access import Act, Visit, enter
from facility.fields import refuse
from facility.history import timeline
from facility.services import ChangedMeanwhileError
from maintenance.calibrating import history, services
from maintenance.calibrating.clock_form import ClockForm
from maintenance.calibrating.common import calibration_of, context, equipment_of, today_at
from maintenance.calibrating.forms import CHOSEN, ChoiceForm, CompareForm
from maintenance.calibrating.page import entry_shown, parts_of, rounded
from maintenance.calibrating.plot import NARROW
from maintenance.calibrating.plot_drift import drift_svg
from maintenance.calibrating.points_fields import initial_cells, rows_asked, tables
from maintenance.calibrating.reference_forms import LaboratoryForm
from maintenance.calibrating.trail import analysed_with, last_good, trail_of
from maintenance.calibrating.words import fewest_points
from maintenance.models import Calibration, Equipment, EquipmentKind, IntervalRule
from maintenance.worksheets.common import values

if TYPE_CHECKING:
    from datetime import date

    from django.http import HttpRequest, HttpResponse


SCALE = ("unit", "scale_low", "scale_high")


def calibrate(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Enter a comparison of an instrument with a reference."""
    visit = enter(request, site, Act.PLANT)
    return _entered(request, visit, equipment_of(visit, pk), None)


def correct(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Put a corrected comparison in the place of another."""
    visit = enter(request, site, Act.PLANT)
    old = calibration_of(visit, pk)
    if not old.is_current or old.laboratory:
        messages.error(
            request, _("This comparison cannot be corrected here: it no longer counts or a laboratory did it.")
        )
        return redirect("maintenance:calibration", site, pk)
    return _entered(request, visit, old.equipment, old)


def _entered(request: HttpRequest, visit: Visit, equipment: Equipment, old: Calibration | None) -> HttpResponse:
    form, rows = _form(request, visit, equipment, old)
    reason = request.POST.get("reason", "")
    if form.is_valid():
        row = _row(form, equipment)
        try:
            if old is None:
                stored = services.record(row, form.cleaned_data["rule"], by=visit.actor)
            else:
                stored = services.correct(old, row, form.cleaned_data["rule"], by=visit.actor, reason=reason)
        except ChangedMeanwhileError as error:
            form.add_error(None, error)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("The comparison is recorded."))
            return redirect("maintenance:calibration", visit.site.key, stored.pk)
    more = context(
        visit, form=form, equipment=equipment, old=old, reason=reason, clock=isinstance(form, ClockForm),
        tables=tables(form, rows) if isinstance(form, CompareForm) else [], more_rows=rows + 5, fewest=fewest_points(),
        unproven=isinstance(form, CompareForm) and not form.fields["certificate"].queryset.exists(),  # type: ignore[attr-defined]
    )  # fmt: skip
    return render(request, "maintenance/calibrating/compare.html", more, status=422 if form.is_bound else 200)


def _form(request: HttpRequest, visit: Visit, equipment: Equipment, old: Calibration | None) -> tuple[ChoiceForm, int]:
    last = old or Calibration.objects.current().filter(equipment=equipment, laboratory="").first()
    today = today_at(visit)
    initial: dict[str, Any] = {"rule": _only_rule(equipment), "unit": _unit_of(equipment)} | _initial(
        last, today, visit.actor.name
    )
    rows = rows_asked(request.GET.get("points"))
    if equipment.kind == EquipmentKind.CLOCK:
        form: ChoiceForm = ClockForm(request.POST or None, initial=initial | _clock_initial(last, old))
    else:
        if old is not None:
            rows = rows_asked(request.GET.get("points"), max(rows, len(old.as_found), len(old.as_left)))
            initial |= initial_cells("found", old.as_found) | initial_cells("left", old.as_left) | old.means
        form = CompareForm(request.POST or None, rows=rows, initial=initial)
    if old is not None:
        initial |= {"done_on": old.done_on, "done_by": old.done_by, "rule": old.work.rule_id, "note": old.note,
                    "adjusted": old.adjusted, **old.environment}  # fmt: skip
    form.open_at(equipment, today, last.choices if last is not None and old is None else None)
    return form, rows


def _only_rule(equipment: Equipment) -> int | None:
    """Return the act of an item where it has one alone."""
    acts = list(IntervalRule.objects.current().filter(equipment=equipment).values_list("pk", flat=True)[:2])
    return acts[0] if len(acts) == 1 else None


def _unit_of(equipment: Equipment) -> str:
    """Return the unit on the depth gauges of its lock, for a depth gauge in one."""
    lock = equipment.lock
    return str(lock.gauge_unit) if lock is not None and equipment.kind == EquipmentKind.DEPTH_GAUGE else ""


def _initial(last: Calibration | None, today: date, name: str) -> dict[str, Any]:
    """Return what may be filled in beforehand: never a reading."""
    initial: dict[str, Any] = {
        "done_on": today,
        "done_by": name,
        "decision_rule": "guarded",
        "limit_by": "EN 837-1 class",
    }
    if last is None:
        return initial
    initial |= {name: last.choices.get(name, "") for name in CHOSEN}
    initial |= {"resolution": last.means.get("resolution", ""), "rule": last.work.rule_id}
    scale = {name: f"{getattr(last, name).normalize():f}" for name in ("scale_low", "scale_high")}
    return initial | scale | {"certificate": last.certificate_id, "unit": last.unit}


def _clock_initial(last: Calibration | None, old: Calibration | None) -> dict[str, Any]:
    table = values("comparisons.toml")
    pair = {"limit_s": "clock_pair.difference", "limit_span_h": "clock_pair.span"}
    initial: dict[str, Any] = {name: table[key].number for name, key in pair.items()}
    if last is None:
        return initial
    names = ("limit_s", "limit_span_h", "compared_with")
    initial |= {name: last.choices.get(name, "") for name in names}
    initial |= {"reference_expanded": last.means.get("reference_expanded", "")}
    if old is not None:
        initial |= {name: old.choices.get(name, "") for name in ("span_h", "first_s", "last_s")}
    return initial


def _row(form: ChoiceForm, equipment: Equipment) -> Calibration:
    typed = form.cleaned_data
    row = Calibration(
        equipment=equipment, done_on=typed["done_on"], done_by=typed["done_by"], note=typed["note"],
        adjusted=typed["adjusted"], choices=form.choices_made(), environment=form.environment(),
    )  # fmt: skip
    if isinstance(form, ClockForm):
        row.unit, row.scale_low, row.scale_high = "s", -typed["own_limit"], typed["own_limit"]
        row.as_found, row.as_left = form.runs()
        row.means = form.means()
    elif isinstance(form, CompareForm):
        row.unit, row.scale_low, row.scale_high = typed["unit"], typed["scale_low"], typed["scale_high"]
        row.as_found, row.as_left = form.found, form.left
        row.certificate, row.means = typed["certificate"], form.means()
    return row


def laboratory(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Enter a comparison that a laboratory did, by its certificate."""
    visit = enter(request, site, Act.PLANT)
    equipment = equipment_of(visit, pk)
    last = Calibration.objects.current().filter(equipment=equipment).first()
    initial = {name: value for name, value in _initial(last, today_at(visit), "").items() if name in SCALE}
    form = LaboratoryForm(request.POST or None, request.FILES or None, initial=initial)
    form.open_at(equipment, today_at(visit))
    if form.is_valid():
        typed = form.cleaned_data
        row = Calibration(
            equipment=equipment, laboratory=typed["laboratory"], done_on=typed["done_on"], done_by=typed["laboratory"],
            unit=typed["unit"], scale_low=typed["scale_low"], scale_high=typed["scale_high"], adjusted=typed["adjusted"],
            choices={"due_on": typed["due_on"].isoformat() if typed["due_on"] else ""}, note=typed["note"],
            computed=form.computed(), **form.as_said(),
        )  # fmt: skip
        try:
            scan = evidence.accept(typed["upload"], site=visit.site, by=visit.actor)
            stored = services.record(row, typed["rule"], by=visit.actor, evidence=scan)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(
                request, _("The certificate is recorded. It counts once a second person has confirmed its days.")
            )
            return redirect("maintenance:calibration", site, stored.pk)
    more = context(visit, form=form, equipment=equipment)
    return render(request, "maintenance/calibrating/laboratory.html", more, status=422 if form.is_bound else 200)


def calibration(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one comparison: verdict, plot, every figure, its chain."""
    visit = enter(request, site, Act.SEE)
    row = calibration_of(visit, pk)
    good_before = last_good(row) if row.computed["look_back"] else None
    read_since = analysed_with(row.equipment, good_before.done_on) if good_before is not None else []
    more = context(
        visit, **parts_of(row), history=timeline(row, ZoneInfo(visit.site.zone)), good_before=good_before,
        read_since=read_since,
        next_row=getattr(row, "superseded_by", None), may_keep=visit.may(Act.PLANT), may_raise=visit.may(Act.DEFECT),
    )  # fmt: skip
    return render(request, "maintenance/calibrating/calibration.html", more)


def drift(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show the drift of an instrument over its history and what intervals the methods propose."""
    visit = enter(request, site, Act.SEE)
    equipment = equipment_of(visit, pk)
    found = history.drift_of(equipment)
    more = context(visit, equipment=equipment, drift=found, trail=trail_of(equipment), may_keep=visit.may(Act.PLANT))
    if found is not None:
        months, of_rule = history.present_interval(found)
        more |= {
            "wide": drift_svg(found), "narrow": drift_svg(found, NARROW), "months": months, "of_rule": of_rule,
            "proposals": history.proposals(found, equipment), "crosses_on": found.day(found.crosses),
            "earliest_on": found.day(found.crosses_at_earliest), "guarded_on": found.day(found.crosses_guarded),
            "a_year": rounded(found.line.slope * history.MONTHS) if found.line else "",
            "u_a_year": rounded(found.line.u_slope * history.MONTHS) if found.line and found.line.freedom else "",
            "entries": [entry_shown(one) for one in reversed(found.entries)],
        }  # fmt: skip
    return render(request, "maintenance/calibrating/drift.html", more)
