"""Pages of one bank and of what comes after hook-up."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from facility import events, house
from facility.access import Act, enter
from facility.fields import refuse
from facility.reference import load
from maintenance.compute.cross_checks import compare
from maintenance.compute.supply import use_of
from maintenance.gas_room import services
from maintenance.gas_room.content import bank_states, courses, expected_after_hook_up, hand_sum
from maintenance.gas_room.course import line_of, noise_of
from maintenance.gas_room.delivery_views import context_of, delivered_of, form_page
from maintenance.gas_room.forms import ExplainForm, HookUpForm
from maintenance.gas_room.states import requalification_words
from maintenance.models import BankReading, QuarantineState
from maintenance.reference import FOLDER

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from facility.access import Visit
    from maintenance.gas_room.content import BankState
    from maintenance.models import DeliveredCylinder


def bank(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one bank: every figure of its sum, cylinder by cylinder, and its course."""
    visit = enter(request, site, Act.SEE)
    now = events.now()
    state = _state(visit, pk)
    course = courses([state], now)[pk]
    today = now.astimezone(ZoneInfo(visit.site.zone)).date()
    worked = [
        {"one": one, "full": hand_sum(one), "kept": hand_sum(one, kept_back=True)} for one in state.worked()
    ]  # fmt: skip
    context = context_of(
        visit, state=state, worked=worked, line=line_of(course), use=use_of(course, noise_of(course)),
        lines=[{"one": one, "test": requalification_words(one.row.test_due_on, today)} for one in state.lines],
        accuracy=load(FOLDER / "real_gas.toml")["accuracy"].number, may_read=visit.may(Act.CHECK),
    )  # fmt: skip
    return render(request, "maintenance/gas_room/bank.html", context)


def _state(visit: Visit, pk: int) -> BankState:
    limit = int(house.values(visit.site)["bank_age_min"])
    found = bank_states(visit.site, events.now(), limit, pk)
    if not found:
        raise Http404
    return found[0]


def hook_up(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Compare the bank's gauge after hook-up with the sum of its cylinders; a difference asks to be explained."""
    visit = enter(request, site, Act.PLANT)
    row = delivered_of(visit, pk)
    if row.state != QuarantineState.ACCEPTED or row.cylinder is None:
        messages.error(request, _("%s is in no bank. Accept it first.") % row.mark)
        return redirect("maintenance:delivered", site, pk)
    done = row.judged.get("hook_up")
    if done and done["over"] and not done["explanation"]:
        return _explain(request, visit, row)
    return _hook_up(request, visit, row)


def _hook_up(request: HttpRequest, visit: Visit, row: DeliveredCylinder) -> HttpResponse:
    its = row.cylinder.bank  # type: ignore[union-attr]  # accepted
    now = events.now()
    form = HookUpForm(request.POST or None, initial={"shown_version": row.row_version, "read_at": now,
                                                     "read_by": visit.actor.name})  # fmt: skip
    form.open_at(visit, now)
    form.unit = its.gauge_unit
    form.fields["pressure"].label = _("Pressure on the gauge of %(bank)s, %(unit)s") % {
        "bank": its.name, "unit": its.get_gauge_unit_display()}  # fmt: skip
    if form.is_valid():
        typed = form.cleaned_data
        try:
            found = _compared(visit, its, typed)
            services.hook_up(row, found, typed["explanation"], by=visit.actor, shown_version=typed["shown_version"])
        except ValidationError as error:
            refuse(form, error)
        else:
            if found.compared["over"] and not typed["explanation"]:
                messages.warning(request, _("Gauge and sum differ by more than the house allows. Explain it."))
            return redirect("maintenance:delivered", visit.site.key, row.pk)
    return form_page(request, visit, form, title=_("Hook-up of %s") % row.mark, send=_("Record the reading"),
                     cylinder=row, caution=_("Open the valves slowly. Oxygen heats when it is compressed."))  # fmt: skip


def _compared(visit: Visit, its: Any, typed: dict[str, Any]) -> services.HookUp:
    state = bank_states(visit.site, typed["read_at"], 1, its.pk)[0]
    expected = expected_after_hook_up(state, typed["temperature_c"])
    percent = house.values(visit.site)["hook_up_percent"]
    reading = BankReading(bank=its, read_at=typed["read_at"], pressure=typed["pressure"], unit=its.gauge_unit,
                          temperature_c=typed["temperature_c"], read_by=typed["read_by"])  # fmt: skip
    said: dict[str, Any] = {"found": f"{typed['pressure']:f}", "unit": its.gauge_unit, "percent": f"{percent:f}",
                            "expected": _("not known"), "difference": "", "limit": "", "over": False,
                            "read_at": typed["read_at"].isoformat()}  # fmt: skip
    if expected is not None:
        judged = compare(float(expected), float(typed["pressure"]), float(percent))
        said |= {"expected": f"{expected:f}", "difference": f"{typed['pressure'] - expected:+f}",
                 "limit": f"{Decimal(str(round(judged.limit, 1))):f}", "over": judged.over}  # fmt: skip
    return services.HookUp(reading, said)


def _explain(request: HttpRequest, visit: Visit, row: DeliveredCylinder) -> HttpResponse:
    form = ExplainForm(request.POST or None, initial={"shown_version": row.row_version})
    form.open_at(visit, events.now())
    if form.is_valid():
        typed = form.cleaned_data
        try:
            services.explain(row, typed["explanation"], by=visit.actor, shown_version=typed["shown_version"])
        except ValidationError as error:
            refuse(form, error)
        else:
            return redirect("maintenance:delivered", visit.site.key, row.pk)
    done = row.judged["hook_up"]
    return form_page(request, visit, form, title=_("Explain the hook-up of %s") % row.mark, cylinder=row,
                     send=_("Keep the explanation"), caution=_("The gauge showed %(found)s %(unit)s, the sum of the"
                     " cylinders is %(expected)s %(unit)s: more than %(percent)s %% apart. A valve not open, a gauge out,"
                     " a leak, a reading before the gas had cooled?") % done)  # fmt: skip
