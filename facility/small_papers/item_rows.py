"""The rows that the history of one item is told from; the number of queries does not grow."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.events import AT_ONCE
from facility.models import Answer, Event, Outcome, SheetVersion
from facility.report.scope import event_word
from maintenance.models import Calibration, Defect, Deferral, Happening, IntervalRule, WorkRecord
from treatments.models import Waiver

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import date, datetime

    from django.db import models

    from facility.models import Evidence
    from facility.report.scope import Frame
    from maintenance.models import Equipment

GONE_BAD = (Outcome.BAD, Outcome.UNREAD)
BAD_READINGS = {"outside limits", "could not read"}


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading outside its limits, or one that could not be read. ``on``: its day; ``at``: its instant where known."""

    on: date
    at: datetime | None
    what: str
    note: str
    value: str
    limits: str
    record: str


@dataclass(slots=True)
class ItemRows:
    """Everything on record of one item, each kind with the oldest first, and the events behind it."""

    rules: list[IntervalRule]
    work: list[WorkRecord]
    happenings: list[Happening]
    looks: list[Deferral]
    calibrations: list[Calibration]
    defects: list[Defect]
    waivers: list[Waiver]
    first_at: datetime
    outside: list[Reading] = field(default_factory=list)
    files: list[tuple[Evidence, str]] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    first_event: dict[tuple[str, int], int] = field(default_factory=dict)

    def event_of(self, row: models.Model) -> str:
        """Return the number of the first event of a row in words."""
        found = self.first_event.get((row._meta.label_lower, row.pk))
        return _("no event") if found is None else event_word(found)


def rows_of(item: Equipment, frame: Frame) -> ItemRows:
    """Return what is on record of an item."""
    rows = ItemRows(
        list(IntervalRule.objects.filter(equipment=item).select_related("counter").order_by("pk")),
        list(WorkRecord.objects.filter(equipment=item).select_related("rule", "evidence").order_by("done_on", "pk")),
        list(Happening.objects.filter(equipment=item).order_by("happened_on", "pk")),
        list(Deferral.objects.filter(rule__equipment=item).select_related("rule").order_by("looked_on", "pk")),
        list(_calibrations(item)),
        list(Defect.objects.filter(equipment=item).prefetch_related("repairs__evidence").order_by("found_at", "pk")),
        list(Waiver.objects.filter(need__members__equipment=item).select_related("need").distinct().order_by("starts_at")),
        item.recorded_at,
    )  # fmt: skip
    answers = list(_answers(item))
    _read_events(item, rows, [answer.pk for answer, _step in answers])
    rows.outside = sorted([*_of_answers(rows, answers, frame), *_of_work(rows)], key=lambda one: one.on)
    rows.files = list(_files(rows, [answer for answer, _step in answers]))
    return rows


def _calibrations(item: Equipment) -> Any:
    rows = Calibration.objects.filter(equipment=item)
    return rows.select_related("equipment", "work", "certificate__reference", "certificate__evidence").order_by(
        "done_on", "pk"
    )


def _answers(item: Equipment) -> Iterator[tuple[Answer, dict[str, Any]]]:
    """Yield the answers that were not good to steps of sheets that name the item, each with its step."""
    versions = SheetVersion.objects.filter(sheet__chamber__site=item.site).values_list("pk", "steps")
    asked = {pk: {step["key"]: step for step in steps if step.get("tag") == item.tag} for pk, steps in versions}
    named = {pk: steps for pk, steps in asked.items() if steps}
    if not named:
        return
    keys = {key for steps in named.values() for key in steps}
    rows = Answer.objects.filter(check_done__version__in=named, step__in=keys, outcome__in=GONE_BAD)
    for answer in rows.select_related("check_done__sheet", "photo").order_by("recorded_at", "pk"):
        step = named[answer.check_done.version_id].get(answer.step)
        if step is not None:
            yield answer, step


def _of_answers(rows: ItemRows, answers: Iterable[tuple[Answer, dict[str, Any]]], frame: Frame) -> Iterator[Reading]:
    for answer, step in answers:
        at = answer.occurred_at or answer.recorded_at
        where = _("%(sheet)s, check %(number)d") % {
            "sheet": answer.check_done.sheet.title,
            "number": answer.check_done.number,
        }
        value = f"{answer.value} {answer.unit}".strip() or str(answer.get_outcome_display())
        words = step.get("text", answer.step) + ("" if answer.is_current else " " + _("(corrected since)"))
        yield Reading(frame.local(at), at, words, where, value, _limits(step), rows.event_of(answer))


def _of_work(rows: ItemRows) -> Iterator[Reading]:
    for work in rows.work:
        for one in work.readings:
            if one.get("outcome") in BAD_READINGS:
                name = work.rule.name if work.rule else str(work.get_kind_display())
                value = f"{one.get('value', '')} {one.get('unit', '')}".strip() or _("could not read")
                what = str(one.get("label") or one.get("name", ""))
                yield Reading(work.done_on, None, what, name, value, _limits(one), rows.event_of(work))


def _limits(told: dict[str, Any]) -> str:
    low, high, unit = (told.get(name) or "" for name in ("low", "high", "unit"))
    if not low and not high:
        return "\u2013"
    if low and high:
        return _("%(low)s to %(high)s %(unit)s") % {"low": low, "high": high, "unit": unit}
    if low:
        return _("at least %(low)s %(unit)s") % {"low": low, "unit": unit}
    return _("at most %(high)s %(unit)s") % {"high": high, "unit": unit}


def _read_events(item: Equipment, rows: ItemRows, answers: list[int]) -> None:
    """Read the events of the item and of everything on record of it."""
    repairs = [one.pk for defect in rows.defects for one in defect.repairs.all()]
    kinds: list[tuple[str, list[int]]] = [
        (item._meta.label_lower, [item.pk]), ("facility.answer", answers), ("maintenance.repair", repairs),
        *((kept[0]._meta.label_lower, [one.pk for one in kept])
          for kept in (rows.rules, rows.work, rows.happenings, rows.looks, rows.calibrations, rows.defects, rows.waivers) if kept),
    ]  # fmt: skip
    found: list[Event] = []
    for label, ids in kinds:
        for start in range(0, len(ids), AT_ONCE):
            found += Event.objects.filter(subject_kind=label, subject_id__in=ids[start : start + AT_ONCE]).defer(
                "payload"
            )
    rows.events = sorted(found, key=lambda one: one.seq)
    for one in reversed(rows.events):
        if one.subject_id is not None:
            rows.first_event[one.subject_kind, one.subject_id] = one.seq
    if rows.events:
        rows.first_at = rows.events[0].recorded_at


def _files(rows: ItemRows, answers: list[Answer]) -> Iterator[tuple[Evidence, str]]:
    """Yield each file once, with what it belongs to."""
    seen: set[int] = set()
    told: list[tuple[Evidence | None, str]] = [
        *((one.evidence, _("work of %(on)s") % {"on": one.done_on}) for one in rows.work),
        *((one.certificate.evidence, _("certificate %(number)s") % {"number": one.certificate.number})
          for one in rows.calibrations if one.certificate is not None),
        *((part.evidence, _("repair of defect %(number)04d") % {"number": one.number}) for one in rows.defects for part in one.repairs.all()),
        *((one.photo, _("answer in check %(number)d") % {"number": one.check_done.number}) for one in answers),
    ]  # fmt: skip
    for evidence, where in told:
        if evidence is not None and evidence.pk not in seen:
            seen.add(evidence.pk)
            yield evidence, where
