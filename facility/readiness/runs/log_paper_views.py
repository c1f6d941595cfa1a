"""Keying in the paper log of a run: several lines at once, with the scan."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility import events, evidence
from facility.access import Act, enter
from facility.compute.typed import whole
from facility.counted import counted
from facility.fields import DayField
from facility.readiness.runs.log_views import GAUGE, run_of, surface_of
from treatments.compute.log_kinds import KINDS
from treatments.log.paper import LINES, PaperLogError, Sheet, Written, columns, key_in
from treatments.log.wording import kind_words, refusal
from treatments.models import RunPlace

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse, QueryDict

    from facility.access import Visit
    from treatments.models import Run

UNPROCESSABLE = 422
PLAIN = ("clock", "kind", "occupant", "depth", "remark", "code")


class SheetForm(forms.Form):
    """The head of a sheet: its day and its scan."""

    day = DayField(label=gettext_lazy("Day of the first line"))
    scan = forms.FileField(
        label=gettext_lazy("Photo or scan of the paper"), required=False,
        help_text=gettext_lazy("PDF, PNG or JPEG. The lines count without it too."),
    )  # fmt: skip
    reason = forms.CharField(
        label=gettext_lazy("Why it is keyed in, if the record is closed already"), max_length=500, required=False
    )
    client_id = forms.UUIDField(widget=forms.HiddenInput)


def key_paper(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Take the lines of a sheet of the paper log, all of them or none; what was typed is never lost."""
    visit = enter(request, site, Act.LOG)
    run = run_of(visit, pk)
    local = events.now().astimezone(ZoneInfo(visit.site.zone))
    initial = {"client_id": uuid.uuid4(), "day": (run.started_at or local).astimezone(local.tzinfo).date()}
    form = SheetForm(request.POST or None, request.FILES or None, initial=initial)
    refused: dict[int, str] = {}
    asked: set[int] = set()
    if form.is_valid():
        try:
            new = _take(visit, run, form, request.POST)
        except PaperLogError as error:
            refused, asked = error.by_line, error.asked
            form.add_error(None, refusal(error))
        except ValidationError as error:
            form.add_error(None, refusal(error))
        else:
            messages.success(
                request,
                _("Keyed in from paper: %(lines)s. Go on with the next ones here.")
                % {"lines": counted(new, "line", "lines")},
            )
            return redirect("treatments:log", site, pk)
    rows = [_row(number, request.POST, refused, asked) for number in range(1, LINES + 1)]
    context = _context(visit, run) | {"form": form, "rows": rows}
    return render(request, "treatments/log/key_paper.html", context, status=UNPROCESSABLE if form.is_bound else 200)


def _context(visit: Visit, run: Run) -> dict[str, Any]:
    return {
        "visit": visit, "place": "log", "run": run, "unit": _unit(run), "columns": columns(),
        "kinds": [(key, kind_words(key)) for key in KINDS], "codes": _codes(),
        "people": list(RunPlace.objects.filter(run=run, retired_at=None, inside=True)),
    }  # fmt: skip


def _unit(run: Run) -> str:
    return str(run.lock.gauge_unit) if run.lock else GAUGE


def _codes() -> list[tuple[str, list[tuple[str, str]]]]:
    """Return the coded words by the kind of entry that they belong to."""
    found = []
    for key, kind in KINDS.items():
        value = kind.value("code")
        if value is not None:
            found.append((kind_words(key), [(code, _(words)) for code, words in value.choices]))
    return found


def _take(visit: Visit, run: Run, form: SheetForm, posted: QueryDict) -> int:
    data = form.cleaned_data
    scan = evidence.accept(data["scan"], site=visit.site, by=visit.actor) if data["scan"] else None
    lines = [_written(run, number, posted) for number in range(1, LINES + 1) if _has_entry(number, posted)]
    sheet = Sheet(data["day"], lines, data["client_id"], scan, data["reason"])
    return key_in(run.pk, sheet, lambda at: surface_of(run, at, data["reason"]), site=visit.site, by=visit.actor)


def _has_entry(number: int, posted: QueryDict) -> bool:
    names = (*PLAIN, *(key for key, _head in columns()))
    return any(posted.get(f"{number}.{name}", "").strip() for name in names)


def _written(run: Run, number: int, posted: QueryDict) -> Written:
    def of(name: str) -> str:
        return posted.get(f"{number}.{name}", "").strip()

    kind = KINDS.get(of("kind"))
    values = {one.key: of(one.key) for one in kind.values if of(one.key)} if kind else {}
    if "bank_pressure" in values:
        values["bank_unit"] = of("bank_unit") or "bar"
    # a value that does not belong to this kind is not dropped in silence: it is refused by name
    values |= {key: of(key) for key, _head in columns() if of(key) and key not in values}
    extended = of("kind") == "extension"
    if extended and of("depth"):
        values |= {"extension_depth_fsw": of("depth"), "extension_count": "1"}
    if of("code"):
        values["code"] = of("code")
    return Written(
        number=number, clock=of("clock"), kind=of("kind"), occupant=whole(of("occupant")) or None,
        depth="" if extended else of("depth"), depth_unit=_unit(run) if of("depth") else "",
        values=values, remark=of("remark")[:300], sure=of("sure") == "on",
    )  # fmt: skip


def _row(number: int, posted: QueryDict, refused: dict[int, str], asked: set[int]) -> dict[str, Any]:
    """Return one line for the page, with what was typed and why it was not taken."""
    row: dict[str, Any] = {name: posted.get(f"{number}.{name}", "") for name in PLAIN}
    cells = [(key, head, posted.get(f"{number}.{key}", "")) for key, head in columns()]
    return row | {"number": number, "cells": cells, "refused": refused.get(number, ""), "ask": number in asked}
