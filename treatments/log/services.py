"""Writing one entry into the log of a run: stored once, with one event, in few queries. Nothing is overwritten."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from facility import events, house, services
from facility.events import What
from facility.models import Event
from treatments.compute.log_times import ago, typed_time
from treatments.compute.log_values import LogRefusedError, Typed, check
from treatments.log import doubts, writer
from treatments.log.spans import depth_spans, spans
from treatments.models import LogEntry, LogKind, Run, RunPlace
from treatments.opening.clinical import add_clinical
from treatments.opening.services import leave_surface, reach_surface
from treatments.opening.waits import locked_out

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from uuid import UUID

    from facility.events import Actor
    from facility.models import Site
    from treatments.compute.log_values import Checked

#: a device's own time further off than this is not believed; common practice, no source
DEVICE_OFF = timedelta(minutes=2)
SAME_MINUTE = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Surface:
    """What readiness said when the chamber left surface, whether it said ready, and why it started if not."""

    shown: str
    ready: bool
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Given:
    """One entry as it came from a device or from paper.

    ``seconds_ago``: how long before sending it was entered; ``device_at`` the same by the device's clock; ``clock``: a
    time that was typed. ``reason`` is needed once the record is closed. ``text_missing``: a text that stayed behind.
    """

    client_id: UUID
    kind: str
    occupant: int | None = None
    depth: str = ""
    depth_unit: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    remark: str = ""
    clinical: str = ""
    seconds_ago: float = 0
    device_at: datetime | None = None
    happened_at: datetime | None = None
    clock: str = ""
    sure: bool = False
    reason: str = ""
    device: str = ""
    clock_jumped: bool = False
    text_missing: bool = False
    from_paper: bool = False
    surface: Surface | None = None


@dataclass(frozen=True, slots=True)
class Stored:
    """What came of an entry: its row, the number of its event, and what must be said aloud at once."""

    entry: LogEntry
    event: int
    run: Run
    repeat: bool = False
    alarm: str = ""


#: what an ordinary entry asks of its run; the rest is not read 20 times an hour
NARROW = ("chamber_id", "number", "started_at", "ended_at", "closed_at", "writer", "writer_device", "row_version")
TURNS = (LogKind.LEFT_SURFACE, LogKind.REACHED_SURFACE)


def locked(run_pk: int, site: Site, *, narrow: bool = False) -> Run:
    """Return a run of a site for writing. Errors: Run.DoesNotExist."""
    rows = Run.objects.select_for_update(of=("self",))
    return (rows.only(*NARROW) if narrow else rows).get(pk=run_pk, chamber__site=site, retired_at=None)


def add_entry(run_pk: int, given: Given, *, site: Site, by: Actor) -> Stored:
    """Store one entry and its event; the same ``client_id`` again returns what was stored.

    A repeat is looked for only where storing fails, since nearly every entry comes once.
    Errors: Run.DoesNotExist; LogRefusedError and ValidationError in words; LogDoubtError for what is asked about once.
    """
    try:
        return _add(run_pk, given, site=site, by=by)
    except (IntegrityError, LogRefusedError, ValidationError):
        stored = LogEntry.objects.filter(client_id=given.client_id).select_related("occupant", "run").first()
        if stored is None:
            raise
        return _repeat(run_pk, stored, given)


@transaction.atomic
def _add(run_pk: int, given: Given, *, site: Site, by: Actor) -> Stored:
    run = locked(run_pk, site, narrow=given.kind not in TURNS)
    now = events.now()
    at = happened(given, site, now)
    occupant = _occupant(run, given.occupant)
    checked = check(_typed(given, occupant), spans(), depth_spans())
    doubts.refuse_time(run, checked.kind, at, site)
    doubts.refuse_closed(run, given.reason)
    if not given.sure:
        doubts.ask(run, checked, occupant, at, site)
    row = _row(run, given, checked, occupant, at)
    row.late = run.closed_at is not None or is_late(at, now, site)
    writer.note(run, row, given, by=by)
    _turn(run, row, given.surface, by=by)
    event = store_row(row, site, reason=given.reason, by=by)
    _follow(run, row, given, by=by)
    return Stored(row, event.seq, run, alarm=doubts.alarm(run, row))


def happened(given: Given, site: Site, now: datetime) -> datetime:
    """Return when an entry happened: as stated, or as typed, or when it was entered on the device.

    Errors: LogRefusedError for a typed time with two readings or none; ValidationError for an instant after now.
    """
    entered = ago(given.seconds_ago, now)
    if given.device_at is not None and abs(given.device_at - entered) <= DEVICE_OFF:
        entered = min(given.device_at, now)
    if given.clock.strip():
        return typed_time(given.clock, ZoneInfo(site.zone), entered)
    if given.happened_at is None:
        return entered
    if given.happened_at - now > DEVICE_OFF:
        raise ValidationError(_("The time lies after now. Give the time when it happened."), code="future")
    return given.happened_at


def is_late(at: datetime, now: datetime, site: Site) -> bool:
    """Whether an entry is late by the house rule; one of this minute never is, and costs no look at the rules."""
    if now - at < SAME_MINUTE:
        return False
    return events.is_late(at, now, int(house.values(site)["late_entry_min"]))


def is_clock_suspect(given: Given, now: datetime) -> bool:
    """Whether the device's clock jumped, or says another time than the box by more than is believed."""
    if given.clock_jumped:
        return True
    return given.device_at is not None and abs(given.device_at - ago(given.seconds_ago, now)) > DEVICE_OFF


def _typed(given: Given, occupant: RunPlace | None) -> Typed:
    text = bool(given.remark.strip() or given.clinical.strip() or given.text_missing)
    return Typed(given.kind, occupant is not None, given.depth, given.depth_unit, given.values, text, given.sure)


def _occupant(run: Run, pk: int | None) -> RunPlace | None:
    if pk is None:
        return None
    place = RunPlace.objects.filter(pk=pk, run=run, retired_at=None).first()
    if place is None:
        raise ValidationError(
            _("Person %(pk)s is not in run %(number)d. Choose one of its people, or add the person to the run first."),
            code="person", params={"pk": pk, "number": run.number},
        )  # fmt: skip
    return place


def _repeat(run_pk: int, stored: LogEntry, given: Given) -> Stored:
    if (stored.run_id, stored.kind, stored.occupant_id) != (run_pk, given.kind, given.occupant):
        raise ValidationError(
            _("This entry was stored before as “%(stored)s”. Enter the new one once more."),
            code="repeat", params={"stored": stored.get_kind_display()},
        )  # fmt: skip
    event = Event.objects.filter(subject_kind="treatments.logentry", subject_id=stored.pk).order_by("seq").first()
    return Stored(stored, event.seq if event else 0, stored.run, repeat=True)


def _row(run: Run, given: Given, checked: Checked, occupant: RunPlace | None, at: datetime) -> LogEntry:
    values = checked.values | ({"text_missing": "yes"} if given.text_missing else {})
    return LogEntry(
        run=run, client_id=given.client_id, kind=checked.kind.key, occupant=occupant, depth=checked.depth,
        depth_unit=checked.depth_unit, values=values, remark=given.remark.strip(), occurred_at=at,
        clock_suspect=is_clock_suspect(given, events.now()), from_paper=given.from_paper,
    )  # fmt: skip


def store_row(row: LogEntry, site: Site, *, reason: str, by: Actor) -> Event:
    """Save the row and its event with as few queries as that takes: what it points to was just read."""
    row.recorded_at, row.recorded_by = events.now(), by.name
    row.full_clean(
        exclude=["recorded_by", "run", "occupant", "client_id", "supersedes"],
        validate_unique=False,
        validate_constraints=False,
    )
    row.save(force_insert=True)
    what = What("log entry", reason.strip(), None, services.plain(row), row.occurred_at, row.late, site.key)
    return events.record(row, what, by=by)


def _turn(run: Run, row: LogEntry, surface: Surface | None, *, by: Actor) -> None:
    """Let the run leave or reach surface with the entry that says so."""
    if row.kind not in TURNS or row.occurred_at is None:
        return
    if LogEntry.objects.filter(run=run, kind=row.kind, retired_at=None).exists():
        raise ValidationError(_("“%(what)s” stands in the log already. Correct that line if its time is wrong."),
                              code="twice", params={"what": row.get_kind_display()})  # fmt: skip
    if row.kind == LogKind.LEFT_SURFACE:
        told = surface or Surface(_("What was ready was not looked up."), ready=False)
        if run.started_at is None:
            leave_surface(run, row.occurred_at, told.shown, told.ready, told.reason, by)
        row.occurred_at = run.started_at
        return
    if run.ended_at is None:
        reach_surface(run, row.occurred_at, by)
    row.occurred_at = run.ended_at


def _follow(run: Run, row: LogEntry, given: Given, *, by: Actor) -> None:
    """Do what an entry brings with it: its text about health apart, the wait of somebody who locked out."""
    if given.clinical.strip():
        add_clinical(run, given.clinical, row.occupant, row, by)
    if row.kind == LogKind.LOCK_OUT and row.occupant is not None and row.occurred_at is not None:
        row.occupant.run = Run.objects.select_related("plan").get(pk=run.pk)
        locked_out(row.occupant, row.occurred_at, by)
