"""What hangs on the wall: states as known at the printed time, whom to call, and by what the records are known again.

A sheet on a wall is old data. Each state carries its time, and the sheet names the instant after which it says nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from facility import house
from facility.compute.instants import datetime_of, instant_of
from facility.compute.states import State
from facility.gathered import current
from facility.models import Contact, KeyUse, SigningKey
from facility.pack.layout import VERIFIERS
from facility.readiness.fill import CALL_ORDER
from facility.readiness.sentences import listed
from facility.readiness.services import answers, chambers_of
from facility.readiness.telling.availability import MARKS
from facility.report.front import in_groups, verifier_digest
from facility.small_papers.marks import addresses

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from decimal import Decimal

    from facility.models import Site
    from facility.readiness.services import Answer

STARTS = frozenset({State.READY, State.READY_WITH_LIMITS})


@dataclass(frozen=True, slots=True)
class WallLine:
    """One table: its state at the printed time. ``until``: start before. ``why``: needs that limit it or are in the way."""

    table: str
    party: str
    chamber: str
    state: str
    mark: str
    picture: str
    until: datetime | None
    ready_from: datetime | None
    why: str

    @property
    def may_start(self) -> bool:
        """Whether a run could be started at the printed time."""
        return self.state in STARTS


@dataclass(frozen=True, slots=True)
class Wall:
    """The whole sheet. ``void_from``: from then on it says nothing. ``unconfirmed``: whose number is not printed."""

    at: datetime
    void_from: datetime
    lines: tuple[WallLine, ...]
    contacts: tuple[Contact, ...]
    unconfirmed: tuple[str, ...]
    evacuation: str
    digits: tuple[tuple[str, str], ...]


def wall_of(site: Site, at: datetime) -> Wall:
    """Return what stands on the wall sheet of a site. The number of queries does not grow."""
    rules = house.values(site)
    found = list(answers(chambers_of(site), at))
    lines = tuple(line for answer in found for line in _lines(answer, several=len(found) > 1))
    there = datetime_of(instant_of(at))
    confirmed, unconfirmed = _contacts(site, at, int(rules["contact_confirm_days"]))
    return Wall(
        there, _void_from(there, lines, rules), lines, confirmed, unconfirmed, site.evacuation_plan, tuple(_digits())
    )


def _lines(answer: Answer, *, several: bool) -> Iterable[WallLine]:
    names = answer.names.need_names
    for key in answer.facts.plans:
        found, row = answer.evaluations[key], answer.names.plans[key]
        mark = MARKS[found.state]
        needs = found.in_the_way or found.limiting
        yield WallLine(
            row.name, row.party, answer.chamber.name if several else "", str(found.state), mark, addresses()[mark],
            None if found.holds_until is None else datetime_of(found.holds_until),
            None if found.ready_from is None else datetime_of(found.ready_from),
            listed([names.get(need, need) for need in needs]) if needs else "",
        )  # fmt: skip


def _void_from(at: datetime, lines: Iterable[WallLine], rules: Mapping[str, Decimal]) -> datetime:
    """Return the first instant at which a printed state may be wrong by the clock alone.

    It is the first end of a table that could be started, or the first begin of one that could not, and never later than
    a check may be old: whatever is not seen by then has to be looked at again.
    """
    turns = [line.until if line.may_start else line.ready_from for line in lines]
    latest = at + timedelta(minutes=int(rules["check_age_min"]))
    return min([latest, *(turn for turn in turns if turn is not None)])


def _contacts(site: Site, at: datetime, confirm_days: int) -> tuple[tuple[Contact, ...], tuple[str, ...]]:
    """Return whom to call, in the order of calling: those whose number was confirmed in time, and names of the others."""
    order = [str(kind) for kind in CALL_ORDER]
    rows = sorted(current(Contact).filter(site=site, kind__in=order), key=lambda row: (order.index(row.kind), row.name))
    since = at.astimezone(ZoneInfo(site.zone)).date() - timedelta(days=confirm_days)
    good = tuple(row for row in rows if row.confirmed_on is not None and row.confirmed_on >= since)
    return good, tuple(row.name for row in rows if row not in good)


def _digits() -> Iterable[tuple[str, str]]:
    """Yield the fingerprints of the keys in use, and the digests of the verifiers that go into packs."""
    by_use = {row.use: row.fingerprint for row in SigningKey.objects.filter(in_use_until=None)}
    for use in KeyUse:
        if use in by_use:
            yield str(use.label), in_groups(by_use[use])
    for name in VERIFIERS:
        if digest := verifier_digest(name):
            yield name, in_groups(digest)
