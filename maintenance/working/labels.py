"""Wall tags and labels, 50 mm by 25 mm, from the same records as the pages: tag, name, next due, code of its page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.db.models import OuterRef, Subquery
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from facility.access import Act, enter
from maintenance.compute.intervals import next_due
from maintenance.models import Equipment, IntervalRule, WorkRecord, WorkResult
from maintenance.working.views import page

if TYPE_CHECKING:
    from collections.abc import Iterable

MOST = 200


@dataclass(frozen=True, slots=True)
class NextDue:
    """The first act of an item to fall due by the calendar, and acts that were never recorded or go by a counter."""

    act: str = ""
    due_on: date | None = None
    never: str = ""
    by_count: str = ""


@dataclass(frozen=True, slots=True)
class Label:
    """What stands on one label."""

    item: Equipment
    due: NextDue
    code: str
    address: str


def next_dues(items: Iterable[Equipment]) -> dict[int, NextDue]:
    """Return what falls due next on each item, from records that count. One query."""
    done = WorkRecord.objects.filter(
        rule=OuterRef("pk"), result=WorkResult.PASSED, retired_at=None, needs_second_look=False, doubted_by=None
    ).order_by("-done_on", "-id")
    rules = IntervalRule.objects.filter(equipment__in=list(items), retired_at=None).annotate(
        last_on=Subquery(done.values("done_on")[:1]), last_due=Subquery(done.values("due_on")[:1])
    )
    found: dict[int, NextDue] = {}
    for rule in rules.order_by("name"):
        so_far = found.get(rule.equipment_id, NextDue())
        found[rule.equipment_id] = _with(so_far, rule.name, _due_of(rule), counted=rule.counter_id is not None)
    return found


def _due_of(rule: IntervalRule) -> date | None:
    last_on, last_due = getattr(rule, "last_on", None), getattr(rule, "last_due", None)
    if last_due is not None or last_on is None or not (rule.months or rule.days):
        return last_due
    return next_due(last_on, months=rule.months, days=rule.days)


def _with(so_far: NextDue, act: str, due_on: date | None, *, counted: bool) -> NextDue:
    never, by_count = so_far.never, so_far.by_count
    if due_on is None and counted:
        by_count = by_count or act
    elif due_on is None:
        never = never or act
    if due_on is not None and (so_far.due_on is None or due_on < so_far.due_on):
        return NextDue(act, due_on, never, by_count)
    return NextDue(so_far.act, so_far.due_on, never, by_count)


def labels(request: HttpRequest, site: str) -> HttpResponse:
    """Choose items, then show their labels to print."""
    visit = enter(request, site, Act.SEE)
    chosen = [int(text) for text in request.GET.getlist("item") if text.isdecimal()]
    rows = Equipment.objects.filter(site=visit.site, retired_at=None).select_related("chamber", "lock").order_by("tag")
    if not chosen:
        return render(request, "maintenance/working/choose_labels.html", page(visit, items=list(rows), most=MOST))
    items = list(rows.filter(pk__in=chosen)[:MOST])
    dues = next_dues(items)
    made = [_label(request, site, item, dues.get(item.pk, NextDue())) for item in items]
    left_out = len(chosen) - len(made)
    return render(
        request, "maintenance/working/labels.html", page(visit, labels=made, left_out=left_out, title=_("Labels"))
    )


def _label(request: HttpRequest, site: str, item: Equipment, due: NextDue) -> Label:
    import segno  # noqa: PLC0415  # only a printed code needs it; an idle server does not hold it

    address = request.build_absolute_uri(reverse("records:detail", args=[site, "equipment", item.pk]))
    code = segno.make(address, error="m", micro=False).svg_data_uri(border=0, scale=1)
    return Label(item, due, code, address)
