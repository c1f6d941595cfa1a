"""refresh(): keep the answers of many chambers, so that a page over all of them is quick."""

from __future__ import annotations

import gc
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility import events
from facility.compute.fleet import SHOWN_FOR, why_old
from facility.counted import counted
from facility.fleet.keeping import kept_chambers, log_of
from facility.fleet.states import dump_plan, states_of
from facility.gathered import current
from facility.models import Chamber, Event, FleetState
from facility.sweep.looking import refuse_wrong_clock
from treatments.models import Run

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from facility.fleet.states import ChamberState

AT_ONCE = 25
"""Chambers reckoned and kept in one write: so many are held in memory."""
RENEWED_BEFORE = timedelta(minutes=6)
"""An answer that would end within this time is reckoned anew: two turns of the job. A design choice, no source."""
FIELDS = (
    "known_at", "known_seq", "state", "holds_until", "plans", "lapses_on", "lapses_what", "overdue", "in_use_by",
)  # fmt: skip


def refresh(say: Callable[[str], object] = lambda _words: None) -> str:
    """Reckon anew what no longer counts or soon will not, and say how many chambers that were.

    Doing it twice does no harm: an older answer that lands last is older by its event, and does not count.
    Errors: ClockError if the clock runs behind the records; nothing is kept then.
    """
    return refresh_some(say)[0]


def refresh_some(
    say: Callable[[str], object] = lambda _words: None, *, after: int = 0, enough: Callable[[], bool] = lambda: False
) -> tuple[str, int | None]:
    """Do the same for the chambers behind number ``after``, some at least, until ``enough``. Return where to go on, too.

    Where to go on is None at the end: one pass meets each chamber once, however often its answer falls due meanwhile.
    """
    refuse_wrong_clock(events.now())
    wanted = to_renew(events.now(), after)
    all_of_them, begin = counted(len(wanted), "chamber", "chambers"), 0
    while begin < len(wanted) and not (begin and enough()):
        _keep(wanted[begin : begin + AT_ONCE])
        gc.collect()  # answers refer to each other in circles, and memory is not to grow with chambers
        begin = min(begin + AT_ONCE, len(wanted))
        say(_("%(done)d of %(chambers)s") % {"done": begin, "chambers": all_of_them})
    if begin == len(wanted):
        return _("%(chambers)s reckoned anew.") % {"chambers": all_of_them}, None
    said = {"done": begin, "chambers": all_of_them}
    return _("%(done)d of %(chambers)s reckoned anew; another job goes on.") % said, wanted[begin - 1]


def to_renew(at: datetime, after: int = 0) -> list[int]:
    """Return the chambers behind number ``after`` whose answer does not count, or will not for long, by number."""
    rows = list(kept_chambers(current(Chamber).filter(site__retired_at=None, pk__gt=after)))
    log = log_of(rows, at)
    soon = at + RENEWED_BEFORE
    return sorted(
        row.chamber
        for row in rows
        if row.kept is None
        or why_old(row.kept, at, log, changed=row.changed) is not None
        or row.kept.known_at + SHOWN_FOR <= soon
        or (row.kept.holds_until is not None and row.kept.holds_until <= soon)
    )


def _keep(chambers: list[int]) -> None:
    """Store the answers of some chambers. The newest event is read first: what is recorded meanwhile makes them old."""
    seq = Event.objects.order_by("-seq").values_list("seq", flat=True).first() or 0
    at = events.now()
    rows = list(current(Chamber).filter(pk__in=chambers).order_by("site_id", "key"))
    begin = starts_ahead(chambers, at)
    made = [_row(state, at, seq, begin.get(state.chamber)) for state in states_of(rows, at)]
    FleetState.objects.bulk_create(made, update_conflicts=True, unique_fields=["chamber"], update_fields=FIELDS)


def starts_ahead(chambers: list[int], at: datetime) -> dict[int, datetime]:
    """Return when a run begins that a device with a fast clock wrote down as of a minute that is still to come."""
    ahead = current(Run).filter(chamber__in=chambers, started_at__gt=at, ended_at=None)
    pairs = ahead.order_by("-started_at").values_list("chamber_id", "started_at")
    return {chamber: start for chamber, start in pairs if start is not None}


def _row(state: ChamberState, at: datetime, seq: int, run_begins: datetime | None) -> FleetState:
    values: dict[str, Any] = {name: getattr(state, name) for name in FIELDS if hasattr(state, name)}
    ends = [one for one in (state.holds_until, run_begins) if one is not None]
    values |= {
        "plans": [dump_plan(one) for one in state.plans], "known_at": at, "known_seq": seq,
        "holds_until": min(ends, default=None),
    }  # fmt: skip
    return FleetState(chamber_id=state.chamber, **values)
