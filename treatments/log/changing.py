"""Correcting and striking a line of the log. The old one stays readable, struck through, with the reason."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services
from facility.models import Event
from treatments.compute.log_kinds import KINDS
from treatments.compute.log_times import typed_time
from treatments.compute.log_values import Typed, check
from treatments.log import doubts
from treatments.log.services import TURNS, Stored, locked
from treatments.log.spans import depth_spans, spans
from treatments.log.wording import MARKS
from treatments.models import LogEntry, LogKind, RunPlace
from treatments.opening.services import correct_times
from treatments.opening.waits import move_waits

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from uuid import UUID

    from facility.events import Actor
    from facility.models import Site
    from treatments.models import Run

SLIP = "slip"


@dataclass(frozen=True, slots=True)
class Correction:
    """What a line should say, and why it was wrong. ``clock`` empty: its time was right."""

    client_id: UUID
    reason: str
    occupant: int | None = None
    depth: str = ""
    depth_unit: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    remark: str = ""
    clock: str = ""
    sure: bool = False


def _found(entry_pk: int, run: Run) -> LogEntry:
    row = LogEntry.objects.select_related("occupant").filter(pk=entry_pk, run=run).first()
    if row is None:
        raise ValidationError(_("This run has no such line. Load the page again."), code="entry")
    return row


@transaction.atomic
def correct(run_pk: int, entry_pk: int, right: Correction, *, site: Site, by: Actor) -> Stored:
    """Put a line in the place of a wrong one; the time of leaving or reaching surface moves the run with it.

    Errors: as add_entry(); ChangedMeanwhileError if the line was corrected or struck before.
    """
    run = locked(run_pk, site)
    old = _found(entry_pk, run)
    repeat = LogEntry.objects.filter(client_id=right.client_id).first()
    if repeat is not None:
        return Stored(repeat, 0, run, repeat=True)
    if not old.is_current:
        raise services.ChangedMeanwhileError(old)
    at = _time(old, right, site)
    row = _row(run, old, right, at)
    if old.kind in TURNS:
        _move_run(run, row, right.reason, by=by)
    else:
        doubts.refuse_time(run, KINDS[old.kind], at, site)
    services.supersede(old, row, by=by, reason=right.reason)
    _move_waits(run, row, right.reason, by=by)
    entry = Event.objects.filter(subject_kind="treatments.logentry", subject_id=row.pk).values_list("seq", flat=True)
    return Stored(row, entry[0], run, alarm=doubts.alarm(run, row))


def _time(old: LogEntry, right: Correction, site: Site) -> datetime:
    stood = old.occurred_at or old.recorded_at
    if not right.clock.strip():
        return stood
    near = old.recorded_at if old.from_paper else max(stood, old.recorded_at)
    return typed_time(right.clock, ZoneInfo(site.zone), near)


def _row(run: Run, old: LogEntry, right: Correction, at: datetime) -> LogEntry:
    occupant = None
    if right.occupant is not None:
        occupant = RunPlace.objects.filter(pk=right.occupant, run=run, retired_at=None).first()
        if occupant is None:
            raise ValidationError(_("Person %(pk)s is not in this run. Choose one of its people."),
                                  code="person", params={"pk": right.occupant})  # fmt: skip
    text = bool(right.remark.strip()) or hasattr(old, "clinical")
    typed = Typed(old.kind, occupant is not None, right.depth, right.depth_unit, right.values, text, right.sure)
    checked = check(typed, spans(), depth_spans())
    kept = {key: value for key, value in old.values.items() if key in MARKS}
    return LogEntry(
        run=run, client_id=right.client_id, kind=old.kind, occupant=occupant, depth=checked.depth,
        depth_unit=checked.depth_unit, values=checked.values | kept, remark=right.remark.strip(), occurred_at=at,
        late=old.late or run.closed_at is not None, clock_suspect=old.clock_suspect, from_paper=old.from_paper,
    )  # fmt: skip


def _move_run(run: Run, row: LogEntry, reason: str, *, by: Actor) -> None:
    """Move the run with a corrected time. Errors: ValidationError if it would end before it began."""
    services.need_reason(reason)
    at = row.occurred_at
    if row.kind == LogKind.LEFT_SURFACE and run.started_at not in (None, at):
        correct_times(run, started_at=at, reason=reason, by=by)
    elif row.kind == LogKind.REACHED_SURFACE and run.ended_at not in (None, at):
        correct_times(run, ended_at=at, reason=reason, by=by)


@transaction.atomic
def strike(run_pk: int, entry_pk: int, reason: str, *, site: Site, by: Actor) -> LogEntry:
    """Strike a line through, with the reason; it stays readable. Striking it twice changes nothing.

    Errors: ValidationError for a blank reason, and for a line on which the whole run hangs.
    """
    run = locked(run_pk, site)
    row = _found(entry_pk, run)
    reason = services.need_reason(reason)
    if not row.is_current:
        return row
    if row.kind in TURNS:
        raise ValidationError(_("“%(what)s” cannot be struck: the run hangs on it. Correct its time instead."),
                              code="turn", params={"what": row.get_kind_display()})  # fmt: skip
    services.retire(row, by=by, reason=reason, at=events.now(), action="log entry struck")
    _move_waits(run, row, reason, by=by)
    return row


def _move_waits(run: Run, row: LogEntry, reason: str, *, by: Actor) -> None:
    """Bring the waits of a run that is over to a changed line of who came in and out."""
    if row.kind in doubts.LOCKS and run.ended_at is not None:
        move_waits(run, reason=reason, by=by)
