"""The board: every chamber of a scope with the word that may be shown of it now, filtered as asked."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from django.db.models import QuerySet

from facility.compute.fleet import SHOWN_FOR, Kept, Log, Old, shown_until, why_old
from facility.compute.states import State
from facility.fleet.keeping import KeptChamber, common_events, kept_chambers
from facility.fleet.states import ChamberState, PlanState, states_of
from facility.gathered import branch, fetch, newest
from facility.jobs.queue import Kind, enqueue
from facility.models import Chamber, Event
from facility.readiness import context

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from facility.gathered import Row

LIVE_AT_MOST = 5
"""So many chambers are reckoned while a page is made, if what was kept of them does not count. A design choice."""
PULSE = "pulse"
MARKS = {"ready": State.READY, "limits": State.READY_WITH_LIMITS, "stop": State.NOT_READY, "unknown": State.NOT_KNOWN}


@dataclass(frozen=True, slots=True)
class Asked:
    """What is looked for: words of a table's name, a state by its mark, a part of a site's or chamber's name."""

    table: str = ""
    state: str = ""
    site: str = ""


@dataclass(frozen=True, slots=True)
class Standing:
    """A chamber with what may be shown of it. ``live`` was reckoned just now; else ``old`` says why nothing counts.

    ``plan``: the plan looked for, if one is.
    """

    place: KeptChamber
    old: Old | None
    live: ChamberState | None
    at: datetime
    plan: PlanState | None = None

    @property
    def state(self) -> State:
        """The word that may be shown: Not known for whatever does not count any more."""
        if self.plan is not None:
            return State(self.plan.state)
        if self.live is not None:
            return State(self.live.state)
        return State.NOT_KNOWN if self.old else State(self.place.state)

    @property
    def known(self) -> Kept | None:
        """When it was reckoned and how long it may be shown; None if nothing counts."""
        if self.live is not None:
            return Kept(self.at, 0, self.live.holds_until)
        return None if self.old else self.place.kept

    @property
    def holds_until(self) -> datetime | None:
        """The first start with a worse word."""
        if self.plan is not None:
            return self.plan.holds_until
        return None if self.known is None else self.known.holds_until

    @property
    def not_after(self) -> datetime:
        """The instant from which nobody may go by it; what is not known is asked for again as soon as the rest."""
        return self.at + SHOWN_FOR if self.known is None else shown_until(self.known)

    def plans(self) -> tuple[PlanState, ...]:
        """Return the plans; what was kept and does not count is Not known."""
        if self.live is not None:
            return self.live.plans
        kept = self.place.plans()
        if self.old is None:
            return kept
        return tuple(
            replace(one, state=str(State.NOT_KNOWN), holds_until=None, need="", called="", lift="") for one in kept
        )


@dataclass(frozen=True, slots=True)
class Board:
    """What a page shows. ``counts`` by mark before the filter by state; ``tables``: names there are, if none was found."""

    rows: list[Standing]
    counts: dict[str, int]
    chambers: int
    renewed_soon: bool
    tables: tuple[str, ...]
    notices: list[str]


def board(chambers: QuerySet[Chamber], asked: Asked, at: datetime) -> Board:
    """Return the board of some chambers at ``at``. Three queries, seven more while few of them are old."""
    every = list(kept_chambers(chambers))
    log, pulse = pulse_of(every, at)
    wanted = [row for row in every if found_in(asked.site, row)]
    old = {row.chamber: why for row in wanted if (why := why_old(row.kept, at, log, changed=row.changed)) is not None}
    live = reckoned([row for row in wanted if row.chamber in old], at, due=not asked.table)
    late = bool(old) and not live
    if late:
        ask_for_more(at)
    standing = [
        Standing(row, None if row.chamber in live else old.get(row.chamber), live.get(row.chamber), at)
        for row in wanted
    ]
    rows = list(with_table(standing, asked.table)) if asked.table else standing
    counted = Counter(row.state for row in rows)
    shown = [row for row in rows if MARKS.get(asked.state, row.state) == row.state]
    return Board(
        rows=sorted(shown, key=_best_first) if asked.table else shown,
        counts={mark: counted[state] for mark, state in MARKS.items()},
        chambers=len(every),
        renewed_soon=late,
        tables=() if rows or not asked.table else names_of(standing),
        notices=context.notices(pulse, at, "UTC"),
    )


def pulse_of(rows: list[KeptChamber], at: datetime) -> tuple[Log, list[Row]]:
    """Return what the log says since these rows were kept, and when the box was last heard of. One query."""
    if not rows:
        return Log(0, 0), []
    anchor = Chamber.objects.filter(pk=rows[0].chamber)
    seqs = newest(Event.objects.order_by("-seq"), "seq"), newest(common_events(rows, at), "seq")
    (found,) = fetch([branch(PULSE, anchor, *context.pulse(at), *seqs)])[PULSE]
    *pulse, last, common = found
    return Log(last[0] if last else 0, common[0] if common else 0), [pulse]


def reckoned(rows: list[KeptChamber], at: datetime, *, due: bool) -> Mapping[int, ChamberState]:
    """Return the answers of a few chambers, reckoned now; nothing if there are more than a page has time for."""
    if not 0 < len(rows) <= LIVE_AT_MOST:
        return {}
    chambers = [Chamber(pk=row.chamber, site_id=row.site, key=row.key, name=row.name) for row in rows]
    return {one.chamber: one for one in states_of(chambers, at, due=due)}


def ask_for_more(at: datetime) -> None:
    """Let the job run at once, once a minute at most. A job row is no record."""
    enqueue(Kind.REFRESH_FLEET, once_key=f"{Kind.REFRESH_FLEET}:asked:{at:%Y-%m-%dT%H:%M}")


def words_in(text: str) -> set[str]:
    """Return the words of a name.

    >>> sorted(words_in("Table 6A, two patients")) == ["6a", "patients", "table", "two"]
    True
    """
    return set(re.findall(r"\w+", text.casefold()))


def found_in(text: str, row: KeptChamber) -> bool:
    """Return whether a part of a name is found at a chamber or its site."""
    names = (row.site_name, row.site_key, row.name, row.organisation)
    return any(text.casefold() in name.casefold() for name in names)


def with_table(rows: Iterable[Standing], table: str) -> Iterable[Standing]:
    """Yield each plan that has all the words of ``table``, whole words: 6 is not 6A."""
    wanted = words_in(table)
    for row in rows:
        for plan in row.plans():
            if wanted and wanted <= words_in(f"{plan.name} {plan.plan}"):
                yield replace(row, plan=plan)


def names_of(rows: Iterable[Standing]) -> tuple[str, ...]:
    """Return the names of all plans."""
    return tuple(sorted({plan.name for row in rows for plan in row.plans()}))


def _best_first(row: Standing) -> tuple[int, bool, float, str]:
    """Put what can start first, the longest first; no end on record is the longest."""
    ends = row.holds_until
    return list(State).index(row.state), ends is not None, -ends.timestamp() if ends else 0.0, row.place.site_name
