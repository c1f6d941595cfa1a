"""Closing the record of a run: its figures kept as on that day, and what each person took written into the ledger."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import __version__, events, services
from facility.models import Check, CheckState, Occasion
from treatments.after.kept import kept_of
from treatments.after.record import basis_of, canonical, digest_of
from treatments.figures.state import figures_of
from treatments.log.reading import all_of
from treatments.models import Exposure, Run, RunPlace

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from facility.events import Actor
    from facility.models import Site
    from treatments.figures.state import PersonFigures

COMPARED = (
    "starts_at", "ends_at", "deepest_fsw", "minutes", "oxygen_min", "uptd", "cns_fraction", "convention", "oxygen_owed_min",
    "person_id",
)  # fmt: skip


@transaction.atomic
def close(run_pk: int, left_open: Sequence[str], *, site: Site, reason: str, by: Actor) -> Run:
    """Keep the figures of a run as computed now, with what was still owed, and write the exposure of each occupant.

    ``left_open``: what was owed at that moment, in words; it blocks nothing. Closed once more after a correction, the
    figures are computed anew, and signatures under the older ones show as void.
    Errors: ValidationError if it has not reached surface; ``reason`` blank where it was closed before.
    """
    rows = Run.objects.select_for_update().filter(chamber__site=site)
    run = rows.get(pk=run_pk)
    if run.ended_at is None or run.started_at is None:
        raise ValidationError(
            _("Run %(number)d has not reached surface. Record that first.") % {"number": run.number}, code="on"
        )
    again = run.closed_at is not None
    why = services.need_reason(reason) if again else _("Record closed.")
    now = events.now()
    figures = figures_of(run, now)
    places = list(RunPlace.objects.filter(run=run).select_related("person").order_by("id"))
    _write_exposures(run, figures.people, reason=why, by=by)
    run.computed = {
        "figures": kept_of(figures), "basis": digest_of(canonical(basis_of(run, places, all_of(run)))),
        "software": __version__, "computed_at": now.isoformat(timespec="seconds"), "left_open": list(left_open),
    }  # fmt: skip
    run.closed_at, run.after_check = now, _after_check(run)
    action = "record computed anew" if again else "record closed"
    return services.change(run, by=by, reason=why, shown_version=run.row_version, action=action)


def _after_check(run: Run) -> Check | None:
    rows = Check.objects.filter(
        sheet__chamber=run.chamber_id, sheet__occasion=Occasion.AFTER_RUN, state=CheckState.SIGNED, retired_at=None
    )
    return rows.filter(signed_at__gte=run.ended_at).order_by("signed_at").first()


def _write_exposures(run: Run, people: Sequence[PersonFigures], *, reason: str, by: Actor) -> None:
    standing = {row.occupant_id: row for row in Exposure.objects.filter(run=run, retired_at=None)}
    for one in people:
        new, old = _exposure(run, one), standing.pop(one.place_pk, None)
        if old is None:
            services.add(new, by=by, action="exposure written")
        elif any(getattr(old, name) != getattr(new, name) for name in COMPARED):
            services.supersede(old, new, by=by, reason=reason)
    for row in standing.values():
        services.retire(row, by=by, reason=reason, action="exposure taken out")


def _exposure(run: Run, one: PersonFigures) -> Exposure:
    owed = [part.total_min for part in one.owed if part.total_min is not None]
    values: dict[str, Any] = {
        "deepest_fsw": _rounded(one.deepest_fsw, 2), "minutes": _rounded(one.minutes, 2),
        "oxygen_min": _rounded(one.oxygen_min, 2), "uptd": _rounded(one.dose.uptd, 2),
        "cns_fraction": None if one.dose.cns_fraction is None else _rounded(one.dose.cns_fraction, 4),
        "oxygen_owed_min": _rounded(max(owed), 1) if owed else None,
    }  # fmt: skip
    return Exposure(
        run=run, occupant_id=one.place_pk, person_id=one.person_pk, starts_at=one.starts_at, ends_at=one.ends_at,
        occurred_at=_whole(one.ends_at), convention=one.dose.convention.title[:60], **values,
    )  # fmt: skip


def _whole(at: datetime) -> datetime:
    return at.replace(microsecond=0)


def _rounded(value: float, places: int) -> Decimal:
    return round(Decimal(value), places)
