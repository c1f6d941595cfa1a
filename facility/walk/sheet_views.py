"""The sheets of a site: list, versions with their differences, editor, taking over from the reference."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import redirect, render
from django.utils.text import slugify
from django.utils.translation import gettext as _

from facility import events, services
from facility.access import Act, enter
from facility.compute.sheets import Effect, Kind, SheetError, differences, groups_of, parse_steps
from facility.models import CheckSheet
from facility.walk.check_views import sheet_of
from facility.walk.reference import default_sheets
from facility.walk.sheet_form import (
    EMPTY,
    NewSheetForm,
    Row,
    VersionForm,
    moved,
    posted_rows,
    rows_of,
    steps_from,
)
from facility.walk.sheet_services import VersionDraft, VersionMeanwhileError, checked_steps, save_version, take_over
from facility.walk.words import refusal

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from facility.access import Visit
    from facility.models import SheetVersion

CONFLICT, UNPROCESSABLE = 409, 422
FEW, MANY = 5, 9


@dataclass(frozen=True, slots=True)
class Draft:
    """What stands in the editor. ``refused``: why it was not taken."""

    sheet: CheckSheet
    rows: list[Row]
    form: VersionForm
    refused: str = ""
    preview: bool = False


def sheets(request: HttpRequest, site: str) -> HttpResponse:
    """List the sheets; with the right to it, take one over or begin one."""
    visit = enter(request, site, Act.RULES if request.method == "POST" else Act.SEE)
    defaults = [(sheet.key, sheet.title) for sheet in default_sheets().values()]
    form = NewSheetForm(
        request.POST or None, site=visit.site, defaults=defaults, initial={"approved_by": visit.actor.name}
    )
    if form.is_valid() and (sheet := _new_sheet(form, visit)) is not None:
        messages.success(request, _("%(sheet)s is stored. Set its limits, tags and banks.") % {"sheet": sheet})
        return redirect("walk:edit", site, sheet.pk)
    rows = CheckSheet.objects.filter(chamber__site=visit.site).select_related("chamber").prefetch_related("versions")
    context = {
        "visit": visit, "place": "log", "sheets": rows, "form": form if visit.may(Act.RULES) else None,
        "defaults": [(sheet, groups_of(sheet.steps)) for sheet in default_sheets().values()],
    }  # fmt: skip
    return render(request, "walk/sheets.html", context, status=UNPROCESSABLE if form.is_bound else 200)


def _new_sheet(form: NewSheetForm, visit: Visit) -> CheckSheet | None:
    data = form.cleaned_data
    try:
        if data["default"]:
            return take_over(data["chamber"], default_sheets()[data["default"]], data["approved_by"], by=visit.actor)
        key = slugify(data["title"])[:60] or "sheet"
        sheet = CheckSheet(chamber=data["chamber"], key=key, title=data["title"], occasion=data["occasion"])
        return services.add(sheet, by=visit.actor)
    except ValidationError as error:
        form.add_error(None, refusal(error))
        return None


def sheet(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show every version of a sheet with what it changed against the one before."""
    visit = enter(request, site)
    found = sheet_of(visit, pk)
    versions = list(found.versions.order_by("version"))
    told = [(version, _changes(before, version)) for before, version in zip([None, *versions], versions, strict=False)]
    current = next((version for version in versions if version.is_current), None)
    context = {
        "visit": visit, "place": "log", "sheet": found, "versions": told[::-1], "current": current,
        "groups": groups_of(parse_steps(current.steps)) if current else (), "may_change": visit.may(Act.RULES),
    }  # fmt: skip
    return render(request, "walk/sheet.html", context)


def _changes(before: SheetVersion | None, version: SheetVersion) -> tuple[Any, ...]:
    if before is None:
        return ()
    try:
        return differences(parse_steps(before.steps), parse_steps(version.steps))
    except SheetError:
        return ()


def edit(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Change a sheet as a table of rows. Every button posts the whole table, so nothing needs a script."""
    visit = enter(request, site, Act.RULES)
    found = sheet_of(visit, pk)
    current = found.versions.filter(retired_at=None).first()
    if request.method != "POST":
        rows = rows_of(current.steps) if current else [dict(EMPTY)]
        form = VersionForm(zone=visit.site.zone, initial={
            "approved_by": visit.actor.name, "in_force_from": events.now(), "shown": current.version if current else 0,
        })  # fmt: skip
        return _editor(request, visit, Draft(found, rows, form))
    rows = posted_rows(request.POST)
    act = request.POST.get("act", "preview")
    if act not in ("save", "preview"):
        form = VersionForm(
            zone=visit.site.zone, initial={name: request.POST.get(name, "") for name in VersionForm.base_fields}
        )
        return _editor(request, visit, Draft(found, moved(rows, act), form))
    form = VersionForm(request.POST, zone=visit.site.zone)
    if act == "save" and form.is_valid():
        return _save(request, visit, Draft(found, rows, form))
    return _editor(request, visit, Draft(found, rows, form, preview=True))


def _save(request: HttpRequest, visit: Visit, written: Draft) -> HttpResponse:
    form, found, rows = written.form, written.sheet, written.rows
    data = form.cleaned_data
    draft = VersionDraft(steps_from(rows), data["approved_by"], data["in_force_from"], data["reason"], data["shown"])
    try:
        version = save_version(found, draft, by=visit.actor)
    except VersionMeanwhileError as error:
        again = VersionForm(zone=visit.site.zone, initial={**form.data.dict(), "shown": error.stored.version})  # type: ignore[attr-defined]  # a posted form
        return _editor(request, visit, Draft(found, rows, again, refusal(error), preview=True))
    except ValidationError as error:
        form.add_error(None, refusal(error))
        return _editor(request, visit, written)
    messages.success(
        request,
        _("Version %(number)s is in force. Open checks keep the version they began with.")
        % {"number": version.version},
    )
    return redirect("walk:sheet", visit.site.key, found.pk)


def _editor(request: HttpRequest, visit: Visit, draft: Draft) -> HttpResponse:
    shown: dict[str, Any] = {}
    if draft.preview:
        try:
            shown = _preview(draft.sheet, draft.rows)
        except ValidationError as error:
            draft = replace(draft, refused=draft.refused or refusal(error))
    context = {
        "visit": visit, "place": "log", "sheet": draft.sheet, "rows": draft.rows, "form": draft.form, "refused": draft.refused,
        "kinds": list(Kind), "effects": list(Effect), "preview": shown, "standings": ("", "retrieved", "memory", "site"),
    }  # fmt: skip
    status = CONFLICT if draft.refused and shown else UNPROCESSABLE if draft.refused or draft.form.errors else 200
    return render(request, "walk/edit.html", context, status=status)


def _preview(found: CheckSheet, rows: list[Row]) -> dict[str, Any]:
    """Return the stations the rows make, what they change, and which groups are long or short."""
    steps = checked_steps(found, steps_from(rows))
    current = found.versions.filter(retired_at=None).first()
    groups = groups_of(steps)
    return {
        "groups": groups, "changes": differences(parse_steps(current.steps), steps) if current else (),
        "uneven": [group for group in groups if not FEW <= len(group.steps) <= MANY],
        "no_limits": [step for step in steps if step.is_reading and not step.has_limits],
    }  # fmt: skip
