"""The blank sheet for printing, and keying in a paper check afterwards."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from facility import evidence
from facility.access import Act, enter
from facility.compute.sheets import Typed, groups_of
from facility.http import StaffRequest
from facility.models import SheetVersion
from facility.walk.forms import PaperHeadForm
from facility.walk.paper import Paper, PaperError, Written, key_in
from facility.walk.services import steps_of
from facility.walk.words import refusal

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse, QueryDict

    from facility.access import Visit
    from facility.compute.sheets import Step

UNPROCESSABLE = 422


def _version(visit: Visit, sheet_pk: int, number: int) -> SheetVersion:
    rows = SheetVersion.objects.select_related("sheet__chamber__site")
    return get_object_or_404(rows, sheet_id=sheet_pk, version=number, sheet__chamber__site=visit.site)


def blank(request: HttpRequest, site: str, sheet_pk: int, number: int) -> HttpResponse:
    """Show a version of a sheet for printing; its code leads to the page where the paper is keyed in."""
    import segno  # noqa: PLC0415  # only a printed code needs it; an idle server does not hold it

    visit = enter(request, site)
    version = _version(visit, sheet_pk, number)
    address = request.build_absolute_uri(reverse("walk:paper", args=[site, sheet_pk, number]))
    context = {
        "visit": visit, "place": "log", "version": version, "sheet": version.sheet, "address": address,
        "groups": groups_of(steps_of(version)), "code": segno.make(address, error="m").svg_data_uri(scale=3),
    }  # fmt: skip
    return render(request, "walk/blank.html", context)


def paper(request: StaffRequest, site: str, sheet_pk: int, number: int) -> HttpResponse:
    """Take every step of a paper check on one page, signed by the one who keys it in."""
    visit = enter(request, site, Act.SIGN)
    version = _version(visit, sheet_pk, number)
    steps = steps_of(version)
    form = PaperHeadForm(
        request.POST or None,
        request.FILES or None,
        request=request,
        zone=visit.site.zone,
        initial={"client_id": uuid.uuid4()},
    )
    refused: dict[str, str] = {}
    if form.is_valid():
        try:
            check, entry = key_in(_paper(request, visit, version, form, steps), request.user, by=visit.actor)
        except PaperError as error:
            refused = error.by_step
            form.add_error(None, refusal(error))
        except ValidationError as error:
            form.add_error(None, refusal(error))
        else:
            _say(request, entry)
            return redirect("walk:check", site, check.pk)
    rows = [(group, [_field(step, request.POST, refused) for step in group.steps]) for group in groups_of(steps)]
    context = {"visit": visit, "place": "log", "version": version, "sheet": version.sheet, "form": form, "rows": rows}
    return render(request, "walk/paper.html", context, status=UNPROCESSABLE if form.is_bound else 200)


def _say(request: HttpRequest, entry: int) -> None:
    if entry:
        messages.success(
            request, _("Keyed in and signed as a late entry. Stored, entry no. %(number)s.") % {"number": entry}
        )
    else:
        messages.info(request, _("This paper was keyed in before; here it is."))


def _paper(
    request: HttpRequest, visit: Visit, version: SheetVersion, form: PaperHeadForm, steps: tuple[Step, ...]
) -> Paper:
    data = form.cleaned_data
    scan = evidence.accept(data["scan"], site=visit.site, by=visit.actor) if data["scan"] else None
    written = {
        step.key: _written(step, request.POST, data["second"]) for step in steps if _has_entry(step, request.POST)
    }
    return Paper(version, data["done_at"], data["done_by"], written, data["client_id"], scan)


def _has_entry(step: Step, posted: QueryDict) -> bool:
    return any(posted.get(f"{step.key}.{name}", "").strip() for name in ("value", "outcome", "choice"))


def _written(step: Step, posted: QueryDict, second: str) -> Written:
    def of(name: str) -> str:
        return posted.get(f"{step.key}.{name}", "").strip()

    typed = Typed(
        of("outcome"),
        of("value"),
        of("choice"),
        second_person=second if step.needs_second else "",
        sure=of("sure") == "on",
    )
    return Written(typed, of("note")[:500])


def _field(step: Step, posted: QueryDict, refused: dict[str, str]) -> dict[str, Any]:
    """Return one step for the page, with what was typed and why it was not taken."""
    names = ("value", "outcome", "choice", "note")
    return {"step": step, "refused": refused.get(step.key, ""), "ask": "?" in refused.get(step.key, "")} | {
        name: posted.get(f"{step.key}.{name}", "") for name in names
    }
