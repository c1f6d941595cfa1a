"""Screening of each occupant before each pressurisation and each lock-in: what is missing, and what was not a yes.

Not asked is an answer. Nothing here blocks anything: what is missing is shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services
from treatments.models import Asked, LogEntry, LogKind, Run, RunPlace, Screening, ScreeningBefore
from treatments.opening.places import places_of, refuse_closed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from facility.events import Actor

QUESTIONS = ("clothing", "items", "ears", "consent", "contraindications")


@dataclass(frozen=True, slots=True)
class Missing:
    """What is missing of one occupant before one going under pressure. ``at`` None: still ahead."""

    place: RunPlace
    before: str
    at: datetime | None
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Going:
    """One going under pressure: since when a screening counts for it, and when it was. None: open, still ahead."""

    before: str
    since: datetime | None
    at: datetime | None


@transaction.atomic
def screen(row: Screening, *, by: Actor) -> Screening:
    """Store a screening.

    Errors: ValidationError if an answer is missing, the occupant is of another run or stays outside, the one who
    screened is not named, the time lies after now, or the record of the run is closed.
    """
    refuse_closed(row.run)
    if row.occupant.run_id != row.run_id or not row.occupant.inside or not row.occupant.is_current:
        raise ValidationError({"occupant": _("%(who)s does not go under pressure in this run.")
                               % {"who": row.occupant.label}})  # fmt: skip
    if not row.screened_by.strip():
        raise ValidationError({"screened_by": _("Name who screened.")})
    if row.screened_at > events.now():
        raise ValidationError({"screened_at": _("This lies after now. Give the time when it happened.")})
    row.occurred_at = row.screened_at
    return services.add(row, by=by, action="occupant screened")


def missing_screenings(run: Run) -> list[Missing]:
    """Return what is missing of each occupant, in order. Three queries."""
    places = [place for place in places_of(run) if place.inside]
    rows = Screening.objects.filter(run=run, retired_at=None).order_by("screened_at", "id")
    moves = LogEntry.objects.filter(
        run=run, retired_at=None, occupant__isnull=False, kind__in=[LogKind.LOCK_IN, LogKind.LOCK_OUT]
    ).order_by("occurred_at", "id")
    return missing_of(run, places, list(rows), list(moves))


def missing_of(
    run: Run, places: Iterable[RunPlace], rows: Sequence[Screening], moves: Sequence[LogEntry]
) -> list[Missing]:
    """Return what is missing, from rows already fetched in the order of time. Given up runs miss nothing."""
    if run.retired_at is not None:
        return []
    found = []
    for place in places:
        own = [row for row in rows if row.occupant_id == place.pk]
        for going in _goings(run, place, own, [move for move in moves if move.occupant_id == place.pk]):
            words = _words(own, going)
            if words:
                found.append(Missing(place, going.before, going.at, words))
    return found


def _goings(run: Run, place: RunPlace, rows: Sequence[Screening], moves: Sequence[LogEntry]) -> list[Going]:
    """Return each time that somebody goes or went under pressure in a run."""
    ins = [move for move in moves if move.kind == LogKind.LOCK_IN]
    goings = []
    since: datetime | None = None
    inside_from_start = not moves or moves[0].kind == LogKind.LOCK_OUT
    if inside_from_start and run.started_at is not None and place.recorded_at > run.started_at:
        inside_from_start = not any(row.before == ScreeningBefore.LOCK_IN for row in rows)
    if inside_from_start:
        goings.append(Going(ScreeningBefore.PRESSURE, None, run.started_at))
        since = run.started_at
    for move in ins:
        goings.append(Going(ScreeningBefore.LOCK_IN, since, move.occurred_at))
        since = move.occurred_at
    return goings


def _words(rows: Sequence[Screening], going: Going) -> tuple[str, ...]:
    in_time = [
        row for row in rows
        if (going.since is None or row.screened_at > going.since) and (going.at is None or row.screened_at <= going.at)
    ]  # fmt: skip
    if in_time:
        return not_yes(in_time[-1])
    if going.at is not None and any(row.screened_at > going.at for row in rows):
        return (_("screened only afterwards"),)
    return (_("not screened"),)


def not_yes(row: Screening) -> tuple[str, ...]:
    """Return each question of a screening whose answer was not yes, with the answer."""
    names = {field.name: str(field.verbose_name) for field in Screening._meta.concrete_fields}
    return tuple(
        f"{names[name]}: {Asked(getattr(row, name)).label}" for name in QUESTIONS if getattr(row, name) != Asked.YES
    )
