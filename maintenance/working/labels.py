"""Wall tags and labels, 50 mm by 25 mm, from the same records as the pages: tag, name, next due, code of its page."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from facility.access import Act, enter
from maintenance.models import Equipment
from maintenance.upkeep.state import Word, due_states_of
from maintenance.working.views import page, today_at

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from facility.models import Site

MOST = 200
NO_DAY = (Word.NEVER, Word.SECOND_LOOK, Word.IN_DOUBT)


@dataclass(frozen=True, slots=True)
class NextDue:
    """What falls due first on an item; ``projected``: by present use alone; ``open``: acts without a day, and why."""

    act: str = ""
    due_on: date | None = None
    projected: bool = False
    open: str = ""


@dataclass(frozen=True, slots=True)
class Label:
    """What stands on one label."""

    item: Equipment
    due: NextDue
    code: str
    address: str


def next_dues(items: Iterable[Equipment], site: Site, today: date) -> dict[int, NextDue]:
    """Return what falls due next on each item, as the pages of upkeep say it."""
    found: dict[int, NextDue] = {}
    for state in due_states_of([item.pk for item in items], site, today):
        so_far = found.get(state.equipment, NextDue())
        if state.word is Word.NOT_ASKED:
            continue
        if state.word in NO_DAY or state.due_on is None:
            found[state.equipment] = replace(so_far, open=so_far.open or f"{state.act}: {_(str(state.word))}")
        elif so_far.due_on is None:
            found[state.equipment] = NextDue(state.act, state.due_on, state.projected, so_far.open)
    return found


def labels(request: HttpRequest, site: str) -> HttpResponse:
    """Choose items, then show their labels to print."""
    visit = enter(request, site, Act.SEE)
    chosen = [int(text) for text in request.GET.getlist("item") if text.isdecimal()]
    rows = Equipment.objects.filter(site=visit.site, retired_at=None).select_related("chamber", "lock").order_by("tag")
    if not chosen:
        return render(request, "maintenance/working/choose_labels.html", page(visit, items=list(rows), most=MOST))
    items = list(rows.filter(pk__in=chosen)[:MOST])
    dues = next_dues(items, visit.site, today_at(visit))
    made = [_label(request, site, item, dues.get(item.pk, NextDue())) for item in items]
    left_out = len(chosen) - len(made)
    return render(
        request, "maintenance/working/labels.html", page(visit, labels=made, left_out=left_out, title=_("Labels"))
    )


def _label(request: HttpRequest, site: str, item: Equipment, due: NextDue) -> Label:
    import segno  # noqa: PLC0415  # only a printed code needs it; an idle server does not hold it

    address = request.build_absolute_uri(reverse("maintenance:item", args=[site, item.pk]))
    code = segno.make(address, error="m", micro=False).svg_data_uri(border=0, scale=1)
    return Label(item, due, code, address)
