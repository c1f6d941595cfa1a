"""A form of work becomes a record: as typed, judged and reckoned, with its paper."""

from __future__ import annotations

import copy
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db import transaction

from facility import evidence
from maintenance.models import CounterUnit, IntervalRule, WorkRecord
from maintenance.services import correct_work, record_work
from maintenance.services.work import OUTSIDE
from maintenance.upkeep.totals import totals_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from facility.access import Visit
    from maintenance.compute.counters import Reading
    from maintenance.models import Equipment
    from maintenance.working.forms import WorkForm
    from maintenance.working.reading_form import ReadingForm

SAME_NAME = ("rule", "count", "done_by", "witness", "result", "due_on", "note", "cost", "currency", "down_min")


def plain_value(value: Any) -> Any:
    """Return a typed detail as it is stored: numbers and days as texts, ticks as they are."""
    if isinstance(value, Decimal):
        return f"{value:f}"
    return value.isoformat() if isinstance(value, date) else value


def put_found(work: WorkRecord, form: ReadingForm) -> None:
    """Put readings, details and what was reckoned into a record, as on that day."""
    found = form.found
    details = {one.name: plain_value(form.cleaned_data.get(f"d_{one.name}")) for one in form.kind.details}
    work.details = {name: value for name, value in details.items() if value not in (None, "", False)}
    if form.cleaned_data.get("why_better"):
        work.details["why_better"] = form.cleaned_data["why_better"].strip()
    if found is None:
        return
    work.readings = found.readings
    work.computed = found.sum.plain() if found.sum else {}
    if found.outside:
        work.details[OUTSIDE] = True


def row_of(form: WorkForm, work: WorkRecord) -> WorkRecord:
    """Return the record that a valid form makes of an empty or a copied row."""
    typed = form.cleaned_data
    work.done_on, work.month_only = typed["done_on"]
    for name in SAME_NAME:
        setattr(work, name, typed[name])
    put_found(work, form)
    reckoned = form.found.sum.due_on if form.found and form.found.sum else None
    if work.due_on is None and reckoned is not None:
        work.due_on = reckoned
        work.details["due_reckoned"] = True
    work.needs_second_look = bool(typed["read_off"])
    return work


@transaction.atomic
def record(form: WorkForm, work: WorkRecord, visit: Visit) -> WorkRecord:
    """Store a new record with its paper. Errors: ValidationError as the services and facility.evidence."""
    _take_paper(form, work, visit)
    return record_work(row_of(form, work), by=visit.actor)


@transaction.atomic
def correct(form: WorkForm, old: WorkRecord, visit: Visit) -> WorkRecord:
    """Store a correction in the place of a record; its paper stays where no other is given. Errors as record()."""
    work = row_of(form, successor(old))
    _take_paper(form, work, visit)
    return correct_work(old, work, by=visit.actor, reason=form.cleaned_data["reason"])


def successor(old: WorkRecord) -> WorkRecord:
    """Return a copy of a record that is to take its place."""
    new = copy.copy(old)
    new._state.adding, new.pk, new.row_version = True, None, 1
    new.retired_at, new.retired_reason = None, ""
    new.details, new.computed, new.readings = dict(old.details), dict(old.computed), list(old.readings)
    return new


def _take_paper(form: WorkForm, work: WorkRecord, visit: Visit) -> None:
    upload = form.cleaned_data.get("upload")
    if upload is not None:
        work.evidence = evidence.accept(upload, site=visit.site, by=visit.actor)


def totals_at(visit: Visit, at: datetime) -> dict[int, Sequence[Reading]]:
    """Return the running total of each counter of the site, oldest reading first, meters replaced taken into account."""
    return dict(totals_of({visit.site.pk: visit.site.zone}, at))


def cycles_of(item: Equipment, totals: Mapping[int, Sequence[Reading]]) -> Sequence[Reading]:
    """Return the running total of the pressure cycles that one of an item's rules goes by."""
    rules = IntervalRule.objects.filter(equipment=item, retired_at=None, counter__unit=CounterUnit.CYCLES)
    counters = rules.order_by("pk").values_list("counter", flat=True)
    return next((totals[pk] for pk in counters if pk in totals), ())


def newest_of_kind(item: Equipment, kind: str) -> WorkRecord | None:
    """Return the newest record of this sort on an item."""
    return WorkRecord.objects.filter(equipment=item, kind=kind, retired_at=None).order_by("-done_on", "-pk").first()
