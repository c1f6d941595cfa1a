"""Acts on a run: opened, left surface, reached surface, given up. Each one transaction with its events."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from facility import events, services
from facility.models import Chamber, Person
from maintenance.upkeep.services import add_run as raise_counters
from treatments.models import LogEntry, LogKind, Run, RunPlace, RunRole
from treatments.opening.places import NewPlace, add_place
from treatments.opening.waits import begin_waits, is_late, move_waits
from treatments.services import newest_before_check, planned_end
from treatments.table_book.tables import NoSuchTableError, table_for

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from facility.events import Actor
    from facility.models import Lock, Site
    from treatments.models import Plan

NO_TABLE = "none"


@dataclass(frozen=True, slots=True)
class Opening:
    """What a run is opened with. ``table`` empty: that of the plan; "none": it follows no table.

    ``people``: who is in it beside the supervisor.
    """

    plan: Plan
    purpose: str
    supervisor: str
    table: str = ""
    lock: Lock | None = None
    people: tuple[NewPlace, ...] = ()


@dataclass(frozen=True, slots=True)
class Start:
    """That a run has left surface already. ``shown``: what readiness said then, ``ready`` whether it said so."""

    at: datetime
    shown: str
    ready: bool
    reason: str = ""


@transaction.atomic
def open_run(opening: Opening, *, by: Actor) -> Run:
    """Store a run that has not left surface, with its table as on this day, and its supervisor.

    Errors: ValidationError if a run is open or on already, the plan is not in force, the lock is of another
    chamber, the table is unknown or the supervisor is not named.
    """
    chamber = Chamber.objects.select_for_update().get(pk=opening.plan.chamber_id)
    _refuse_opening(opening, chamber)
    last = Run.objects.filter(chamber=chamber).aggregate(last=Max("number"))["last"]
    run = Run(
        chamber=chamber, number=(last or 0) + 1, purpose=opening.purpose, plan=opening.plan, lock=opening.lock,
        opened_at=events.now(), supervisor=opening.supervisor.strip(),
    )  # fmt: skip
    _freeze_table(run, opening, chamber.site)
    services.add(run, by=by, action="run opened")
    person = Person.objects.filter(site=chamber.site_id, name=run.supervisor, retired_at=None).first()
    place = RunPlace(run=run, role=RunRole.SUPERVISOR, label=run.supervisor[:60], person=person)
    services.add(place, by=by, action="person put in the run")
    for new in opening.people:
        add_place(run, new, by=by)
    return run


def _refuse_opening(opening: Opening, chamber: Chamber) -> None:
    on = Run.objects.filter(chamber=chamber, ended_at=None, retired_at=None).first()
    if on is not None and on.started_at is not None:
        raise ValidationError(_("Run %(number)d is still on in %(chamber)s. Record its end first.")
                              % {"number": on.number, "chamber": chamber}, code="on")  # fmt: skip
    if on is not None:
        raise ValidationError(
            _("Run %(number)d is opened in %(chamber)s and has not left surface. Go on with it, or give it up first.")
            % {"number": on.number, "chamber": chamber}, code="open")  # fmt: skip
    if not opening.plan.is_current:
        raise ValidationError({"plan": _("This version of the plan is no longer in force. Choose the one that is.")})
    if not opening.supervisor.strip():
        raise ValidationError({"supervisor": _("Name the supervisor of the run.")})
    if opening.lock is not None and opening.lock.chamber_id != chamber.pk:
        raise ValidationError({"lock": _("“%(lock)s” is no lock of %(chamber)s. Choose one of that chamber.")
                               % {"lock": opening.lock.name, "chamber": chamber}})  # fmt: skip


def _freeze_table(run: Run, opening: Opening, site: Site) -> None:
    """Keep the table as on this day. A plan whose table was taken out of force opens without one, never refused."""
    key = opening.table or opening.plan.table
    if not key or key == NO_TABLE:
        return
    try:
        found = table_for(site, key)
    except NoSuchTableError as error:
        if opening.table:
            raise ValidationError({"table": str(error)}) from None
        run.table_key = key
        return
    run.table_key, run.table_version, run.table = key, found.version, found.parts
    run.table_standing = str(found.standing)


@transaction.atomic
def leave_surface(run: Run, at: datetime, shown: str, ready: bool, reason: str, by: Actor) -> Run:  # noqa: FBT001
    """Record that an opened run left surface. Never refused for readiness: the run is then marked so.

    ``shown``: what readiness said at ``at``; a reason left blank can be given later by give_reason().
    Errors: ValidationError if it left surface or ended already, or another run ended after ``at``.
    """
    _refuse_leaving(run, at)
    run.started_at, run.planned_end_at = at, planned_end(run.plan, at)
    run.outside_house_rules = not ready
    run.shown = shown if ready else _with_reason(shown, reason)
    run.before_check = newest_before_check(run.chamber, at)
    action = "run started" if ready else "run started outside the house rules"
    why = reason.strip() or _("Left surface.")
    return services.change(run, by=by, reason=why, shown_version=run.row_version, action=action)


def _refuse_leaving(run: Run, at: datetime) -> None:
    if run.retired_at is not None:
        raise ValidationError(_("Run %(number)d was given up. Open another.") % {"number": run.number}, code="given up")
    if run.started_at is not None:
        raise ValidationError(_("Run %(number)d left surface already.") % {"number": run.number}, code="started")
    before = Run.objects.filter(chamber=run.chamber_id, ended_at__gt=at, retired_at=None).first()
    if before is not None:
        raise ValidationError({"at": _("Run %(number)d ended after this time. Give the time when this run left surface.")
                               % {"number": before.number}})  # fmt: skip


REASON_OWED = "—"


def _with_reason(shown: str, reason: str) -> str:
    return f"{shown}\n\n{_('Reason')}: {reason.strip() or REASON_OWED}"


def owes_reason(run: Run) -> bool:
    """Whether a run left surface outside the house rules and nobody has said why yet."""
    return run.outside_house_rules and run.shown.endswith(f": {REASON_OWED}")


@transaction.atomic
def give_reason(run: Run, reason: str, *, by: Actor) -> Run:
    """Say afterwards why a run left surface outside the house rules.

    Errors: ValidationError if the reason is blank or was given already.
    """
    if not owes_reason(run):
        raise ValidationError(_("Run %(number)d owes no reason.") % {"number": run.number}, code="given")
    text = services.need_reason(reason)
    run.shown = run.shown[: -len(REASON_OWED)] + text
    return services.change(run, by=by, reason=text, shown_version=run.row_version, action="reason given afterwards")


@transaction.atomic
def start_run(opening: Opening, start: Start, *, by: Actor) -> Run:
    """Record a run that left surface without having been opened before. Never refused for readiness.

    Errors: ValidationError as open_run() and leave_surface(), or if the reason is missing
    where the plan was Not ready or Not known.
    """
    if not start.ready and not start.reason.strip():
        raise ValidationError({"reason": _(
            "The plan is not ready, or not known to be. Say why the run starts all the same; it is kept with it."
        )})  # fmt: skip
    run = open_run(opening, by=by)
    _log(run, LogKind.LEFT_SURFACE, start.at, by)
    return leave_surface(run, start.at, start.shown, start.ready, start.reason, by)


def _log(run: Run, kind: LogKind, at: datetime, by: Actor) -> None:
    """Write what a page of the run said into its log too, if the log does not say it already."""
    if not LogEntry.objects.filter(run=run, kind=kind, retired_at=None).exists():
        late = is_late(run, at)
        services.add(LogEntry(run=run, kind=kind, occurred_at=at, late=late), by=by, action="log entry", late=late)


@transaction.atomic
def reach_surface(run: Run, at: datetime, by: Actor, inside: Iterable[Person] = ()) -> Run:
    """Record that a run reached surface; the crew who were inside wait before they go under pressure again.

    ``inside``: crew who were inside beside those already named in the run's places.
    Errors: ValidationError if it ended already, has not left surface, or would end before it left surface.
    """
    if run.ended_at is not None:
        raise ValidationError(_("Run %(number)d ended already.") % {"number": run.number}, code="ended")
    if run.started_at is None:
        raise ValidationError(_("Run %(number)d has not left surface.") % {"number": run.number}, code="not started")
    if at <= run.started_at:
        raise ValidationError({"at": _("The run would end before it left surface. Give a later time.")})
    run.ended_at = at
    services.change(run, by=by, reason=_("Reached surface."), shown_version=run.row_version, action="run ended")
    begin_waits(run, at, inside, by=by)
    raise_counters(run.chamber, run.started_at, at, run.number, by)
    return run


@transaction.atomic
def end_run(run: Run, at: datetime, by: Actor, inside: Iterable[Person] = ()) -> Run:
    """Record from the run's page that it reached surface, in its log too. Errors: as reach_surface()."""
    reach_surface(run, at, by, inside)
    _log(run, LogKind.REACHED_SURFACE, at, by)
    return run


@transaction.atomic
def correct_times(
    run: Run, *, started_at: datetime | None = None, ended_at: datetime | None = None, reason: str, by: Actor
) -> Run:
    """Correct when a run left or reached surface; its planned end and the waits move with it.

    Errors: ValidationError if it has not left (or reached) surface, would end before it left, or lacks a reason.
    """
    if (started_at and run.started_at is None) or (ended_at and run.ended_at is None):
        raise ValidationError(
            _("Run %(number)d has no such time yet that could be corrected.") % {"number": run.number}
        )
    started, ended = started_at or run.started_at, ended_at or run.ended_at
    if started is None or (ended is not None and ended <= started):
        raise ValidationError({"at": _("The run would end before it left surface. Give a later time.")})
    run.started_at, run.planned_end_at, run.ended_at = started, planned_end(run.plan, started), ended
    services.change(run, by=by, reason=reason, shown_version=run.row_version, action="times corrected")
    if ended is not None:
        move_waits(run, reason=reason, by=by)
    return run


@transaction.atomic
def give_up_run(run: Run, *, reason: str, by: Actor) -> Run:
    """Let an opened run that never left surface no longer count.

    Errors: ValidationError if it left surface, or the reason is blank.
    """
    if run.started_at is not None:
        raise ValidationError(_("Run %(number)d left surface and stays in the log. Record its end.")
                              % {"number": run.number}, code="started")  # fmt: skip
    return services.retire(run, by=by, reason=reason, action="run given up before it left surface")
