"""Who of the crew must wait after a run before going under pressure again, as its plan says."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, house, services
from treatments.models import LogEntry, LogKind, PressureWait, RunPlace

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from facility.events import Actor
    from facility.models import Person
    from treatments.models import Run


def surfaced_at(run: Run, end: datetime) -> dict[int, datetime]:
    """Return when each person of the crew who was inside came to surface, by id of the person.

    Who locked out and was not locked in again came out then; all others at the end of the run.
    """
    moves = LogEntry.objects.filter(
        run=run, retired_at=None, occupant__isnull=False, kind__in=[LogKind.LOCK_IN, LogKind.LOCK_OUT]
    )
    last: dict[int | None, tuple[str, datetime | None]] = {}
    for occupant, kind, at in moves.order_by("occurred_at", "id").values_list("occupant_id", "kind", "occurred_at"):
        last[occupant] = (kind, at)
    found: dict[int, datetime] = {}
    for place in RunPlace.objects.filter(run=run, retired_at=None, person__isnull=False):
        kind, at = last.get(place.pk, ("", None))
        if not (place.inside or kind) or place.person_id is None:
            continue
        out = at if kind == LogKind.LOCK_OUT and at is not None else end
        found[place.person_id] = max(out, found.get(place.person_id, out))
    return found


@transaction.atomic
def begin_waits(run: Run, end: datetime, inside: Iterable[Person], *, by: Actor) -> list[PressureWait]:
    """Store the wait of each person of the crew who was inside; one that began at a lock-out is kept if still right."""
    outs = {person.pk: end for person in inside} | surfaced_at(run, end)
    waiting = {wait.person_id: wait for wait in PressureWait.objects.filter(run=run, retired_at=None)}
    return [_wait(run, person, out, waiting.get(person), by=by) for person, out in sorted(outs.items())]


@transaction.atomic
def locked_out(place: RunPlace, at: datetime, by: Actor) -> PressureWait | None:
    """Begin the wait of somebody of the crew who came out while the run goes on; None for anybody else.

    Calling it again for the same lock-out changes nothing.
    """
    if place.person_id is None:
        return None
    known = PressureWait.objects.filter(run=place.run_id, person=place.person_id, retired_at=None).first()
    return _wait(place.run, place.person_id, at, known, by=by)


@transaction.atomic
def move_waits(run: Run, *, reason: str, by: Actor) -> None:
    """Bring the waits of a run that ended to its corrected times."""
    if run.ended_at is None:
        return
    outs = surfaced_at(run, run.ended_at)
    for wait in PressureWait.objects.filter(run=run, retired_at=None):
        _wait(run, wait.person_id, outs.get(wait.person_id, run.ended_at), wait, by=by, reason=reason)


def _wait(
    run: Run, person: int, out: datetime, known: PressureWait | None, *, by: Actor, reason: str = ""
) -> PressureWait:  # fmt: skip
    started = run.started_at or out
    until = out + timedelta(minutes=run.plan.wait_min)
    wait = PressureWait(person_id=person, run=run, starts_at=started, ends_at=until,
                        why=_("inside in run %(number)d") % {"number": run.number}, occurred_at=out)  # fmt: skip
    if known is None:
        return services.add(wait, by=by, action="wait begins", late=is_late(run, out))
    if (known.starts_at, known.ends_at) == (started, until):
        return known
    services.supersede(known, wait, by=by, reason=reason or _("Under pressure again in the same run."))
    return wait


def is_late(run: Run, at: datetime) -> bool:
    """Whether something that happened at ``at`` is entered later than the house allows."""
    return events.now() - at > timedelta(minutes=int(house.values(run.chamber.site)["late_entry_min"]))
