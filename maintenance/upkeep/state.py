"""When every rule of a site falls due, reckoned from its row: some rows at a time, in the same few queries for all.

The rows are those that readiness is gathered with, so a page and readiness say the same.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from enum import StrEnum
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.db.models import Case, F, QuerySet, TextField, Value, When
from django.db.models.functions import Cast

from facility import house
from facility.gathered import current
from facility.models import Site
from facility.reference import load
from maintenance.compute.rule_due import Past, Reckoned, Terms, reckon
from maintenance.models import IntervalRule, WorkRecord, WorkResult
from maintenance.readiness.rule_rows import IN_DOUBT, RuleRow, more_of, newest_of, past_of, terms_of
from maintenance.reference import FOLDER
from maintenance.upkeep.totals import LateTotals

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from datetime import date
    from decimal import Decimal

    from maintenance.compute.counters import Reading
    from maintenance.compute.due import Cause, Due, Side
    from maintenance.compute.rule_due import Counted

AT_ONCE = 500
"""Rows held at one time."""
WORSE_FIRST = Case(
    When(result=WorkResult.FAILED, then=Value(0)), When(result=WorkResult.UNREAD, then=Value(1)), default=Value(2)
)
"""Of two records of one day the worse counts."""


class Word(StrEnum):
    """The state of a rule in a word."""

    IN_DATE = "in date"
    SOON = "due soon"
    OVERDUE = "overdue"
    NEVER = "never recorded"
    SECOND_LOOK = "waits for a second look"
    IN_DOUBT = "in doubt"
    NOT_ASKED = "nothing asks for it"


@dataclass(frozen=True, slots=True)
class On:
    """What a site's rules are judged on: its day, days within which something is soon, whether windows keep good."""

    today: date
    zone: str
    soon: int
    keeps: bool


@dataclass(frozen=True, slots=True)
class DueState:
    """One rule of one item, and when it falls due.

    ``good_through``: last good day with the window if the house lets it keep good; ``first``: the side that comes
    first. ``newest``: (day, result) of the newest act, pass or not; ``done_on``: of the newest passed one.
    """

    rule: int
    act: str
    equipment: int
    tag: str
    item: str
    kind: str
    site: int
    effect: str
    counts_for_readiness: bool
    source: str
    standing: str
    price: Decimal | None
    currency: str
    word: Word
    reckoned: Reckoned
    first: Side | None
    good_through: date | None
    done_on: date | None
    newest: tuple[date, str] | None

    @property
    def due(self) -> Due:
        """Every side."""
        return self.reckoned.due

    @property
    def sides(self) -> tuple[Side, ...]:
        """Every side, in the order calendar, counter, life, event."""
        return self.reckoned.due.sides

    @property
    def counts(self) -> tuple[Counted, ...]:
        """Each count against its limit."""
        return self.reckoned.counts

    @property
    def due_on(self) -> date | None:
        """The last good day of the side that comes first."""
        return self.first.due_on if self.first else None

    @property
    def cause(self) -> Cause | None:
        """The side that comes first."""
        return self.first.cause if self.first else None

    @property
    def projected(self) -> bool:
        """Whether the day is only what the present use leads to."""
        return self.first is not None and self.first.projected

    def days_left(self, today: date) -> int | None:
        """Return the days until it is due; below 0 overdue; None where no day is known."""
        return None if self.due_on is None else (self.due_on - today).days


def due_states(site: Site, today: date) -> list[DueState]:
    """Return the state of every current rule of a site's current items, first due first, those without a day last."""
    return in_order(iter_states(_of_site(site), {site.pk: on_of(site, today)}))


def iter_due_states(site: Site, today: date) -> Iterator[DueState]:
    """Yield the same without order: memory does not grow with the number of rules."""
    return iter_states(_of_site(site), {site.pk: on_of(site, today)})


def due_states_of(equipment_ids: Iterable[int], site: Site, today: date) -> list[DueState]:
    """Return the state of every current rule of these items of one site."""
    rules = current(IntervalRule).filter(equipment__in=list(equipment_ids), equipment__site=site)
    return in_order(iter_states(rules, {site.pk: on_of(site, today)}))


def in_order(states: Iterable[DueState]) -> list[DueState]:
    """Return states by day, those without a day last."""
    return sorted(states, key=lambda one: (one.due_on is None, str(one.due_on or ""), one.tag, one.act))


def _of_site(site: Site) -> QuerySet[IntervalRule]:
    return current(IntervalRule).filter(equipment__site=site, equipment__retired_at=None)


def on_of(site: Site, today: date) -> On:
    """Return what a site's rules are judged on."""
    rules = house.values(site)
    return On(today, site.zone, int(rules["due_soon_days"]), bool(rules["window_keeps_good"]))


def iter_states(rules: QuerySet[IntervalRule], sites: Mapping[int, On]) -> Iterator[DueState]:
    """Yield the state of each rule. One query, and two more where counters count, however many rules and sites."""
    if not sites:
        return
    totals = LateTotals({pk: on.zone for pk, on in sites.items()}, _end(sites))
    span = span_days()
    for row in rows_of(rules, _end(sites)).iterator(chunk_size=AT_ONCE):
        yield _state(row, sites[row[3]], totals, span)


def span_days() -> int:
    """Return over how many days the rate of use is taken."""
    return int(load(FOLDER / "windows.toml")["usage.span_days"].number)


def _end(sites: Mapping[int, On]) -> datetime:
    """Return the end of the last day among the sites."""
    return max(
        datetime.combine(on.today + timedelta(days=1), time(0), ZoneInfo(on.zone)) for on in sites.values()
    ) - timedelta(seconds=1)


def rows_of(rules: QuerySet[IntervalRule], at: datetime) -> QuerySet[Any, Any]:
    """Return the rows that states are reckoned from."""
    work = current(WorkRecord).filter(done_on__lte=(at + timedelta(hours=14)).date())
    work = work.order_by("-done_on", WORSE_FIRST, "-id")
    passed, newest_act = newest_of(work)
    return rules.values_list(
        "pk", "equipment_id", F("equipment__tag"), F("equipment__site_id"), F("equipment__name"), F("equipment__kind"),
        "effect", "counts", "standing", "price", "currency", "name", "months", "days", "window_days", "source",
        Cast(passed, TextField()), Cast(newest_act, TextField()),
        Cast(more_of(work, F("equipment__in_service_on"), at), TextField()),
    )  # fmt: skip


def rule_row(row: Any) -> RuleRow:
    """Return the part of a row that a rule is reckoned from."""
    more = None if row[18] is None else json.loads(row[18])
    return RuleRow._make((*row[11:16], _parsed(row[16]), _parsed(row[17]), more))


@lru_cache(maxsize=8192)
def _parsed(text: str | None) -> Any:
    """Parse an act once for all the rules that have the same one; nobody changes what comes of it."""
    return None if text is None else json.loads(text)


@lru_cache(maxsize=8192)
def _of_plain(months: int, days: int, passed: str | None) -> tuple[Past, Reckoned]:
    """Reckon a plain calendar interval: it depends on its newest passed act alone, which many rules share."""
    said = RuleRow("", months, days, 0, "", _parsed(passed), None, None)
    past = past_of(said, "UTC")
    return past, reckon(terms_of(said), past, 0)


def detail(rule: IntervalRule, on: On) -> tuple[DueState, Terms, Past]:
    """Return one rule's state with the terms and the past it was reckoned from."""
    sites = {rule.equipment.site_id: on}
    totals = LateTotals({rule.equipment.site_id: on.zone}, _end(sites))
    row = rows_of(QuerySet(IntervalRule).filter(pk=rule.pk), _end(sites)).get()
    said = rule_row(row)
    past = past_of(said, on.zone, until=on.today.isoformat(), totals=totals)
    return _state(row, on, totals, span_days()), terms_of(said), past


def _state(row: Any, on: On, totals: Mapping[int, tuple[Reading, ...]], span: int) -> DueState:
    said = rule_row(row)
    if said.more is None:
        past, found = _of_plain(said.months, said.days, row[16])
    else:
        past = past_of(said, on.zone, until=on.today.isoformat(), totals=totals)
        found = reckon(terms_of(said), past, span)
    first = found.due.first
    newest = None if said.newest is None else (_day(said.newest[0]), str(said.newest[1]))
    pk, equipment, tag, site, item, kind, effect, counts, standing, price, currency = row[:11]
    late = 0 if said.more is not None else said.window_days
    return DueState(
        pk, said.name, equipment, tag, item, kind, site, effect, counts, said.source, standing, price, currency,
        word=_word(said, found, on, late),
        reckoned=found,
        first=first,
        good_through=_good_through(first, on, late),
        done_on=past.acts[-1].done_on if past.acts else None,
        newest=newest,
    )  # fmt: skip


def _good_through(side: Side | None, on: On, late: int) -> date | None:
    if side is None or side.due_on is None:
        return None
    if side.reached:
        return side.due_on - timedelta(days=1)
    closes = side.opening.closes if side.opening is not None else side.due_on
    return max(side.due_on, closes, side.due_on + timedelta(days=late)) if on.keeps else side.due_on


def _word(said: RuleRow, found: Reckoned, on: On, late: int) -> Word:
    """Overdue goes before what is not known, and that before soon. A projected day alone never makes overdue."""
    ends = [(side, _good_through(side, on, late)) for side in found.due.sides]
    if any(end is not None and end < on.today and not side.projected for side, end in ends):
        return Word.OVERDUE
    if said.waits_for:
        return Word.IN_DOUBT if said.waits_for == IN_DOUBT else Word.SECOND_LOOK
    if found.untold:
        return Word.NEVER
    if not ends:
        return Word.NOT_ASKED
    soon = on.today + timedelta(days=on.soon)
    return Word.SOON if any(side.due_on is not None and side.due_on <= soon for side, _ in ends) else Word.IN_DATE


def _day(text: str) -> date:
    return datetime.fromisoformat(text).date()
