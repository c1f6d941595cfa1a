"""A rule and what is on record under it, as one row; and from that row the terms and the past it is reckoned from.

Most rules are an interval in months or days and nothing else. Only the others carry ``more``: the database
does not look for counters, events and looks of a rule that has none.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import Case, F, OuterRef, Q, QuerySet, TextField, Value, When

from facility.gathered import AsJson, JsonArray, Row, current, nested, newest
from facility.reference import load
from maintenance.compute.counters import MeterReplacement, Reading, offset_on
from maintenance.compute.deferral import Inspection
from maintenance.compute.due import Anchor, Happening
from maintenance.compute.due_windows import PercentLaw, Window, WindowKind, allowance
from maintenance.compute.intervals import Span
from maintenance.compute.rule_due import Act, Past, Terms
from maintenance.models import (
    Counter,
    CounterReading,
    CounterUnit,
    Deferral,
    OverdueEffect,
    WorkKind,
    WorkResult,
)
from maintenance.models import Happening as Happened
from maintenance.models import MeterReplacement as Replaced
from maintenance.reference import FOLDER

if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.db.models.expressions import Combinable

    from maintenance.models import WorkRecord

LAST_DAY = "9999-12-31"
IN_DOUBT, SECOND_LOOK = "in doubt", "second look"
SIMPLE = Q(
    effect=OverdueEffect.STOPS, anchor=Anchor.FLOATING, window_kind=WindowKind.NONE, window_months=0, early_days=0,
    early_months=0, counter=None, life_months=0, triggers="", defer_months=0,
)  # fmt: skip


class RuleRow(NamedTuple):
    """A rule that counts.

    ``passed``: newest passed act [done on, due on, only the month is known, what it waits for]; ``newest``: newest
    act [done on, result]; ``more``: MoreRow, None for a plain calendar interval.
    """

    name: str
    months: int
    days: int
    window_days: int
    source: str
    passed: Row | None
    newest: Row | None
    more: Row | None

    @property
    def waits_for(self) -> str:
        """Why the newest passed act is not known to count: in doubt, a second look, or nothing."""
        return str(self.passed[3] or "") if self.passed else ""

    @property
    def restricts(self) -> bool:
        """Whether overdue it restricts the item instead of taking it out."""
        return self.more is not None and self.more[0] == OverdueEffect.LIMITS


class MoreRow(NamedTuple):
    """The rest of a rule that is more than a plain calendar interval."""

    effect: str
    anchor: str
    window: Row
    count_every: Any
    count_life: Any
    count_at_fitting: Any
    life_months: int
    life_begins_on: str | None
    in_service_on: str | None
    triggers: str
    defer_months: int
    hard_stop_months: int
    acts: list[Row]
    happenings: list[Row]
    looks: list[Row]
    counter: Row | None


class CounterRow(NamedTuple):
    """A counter with its newest reading [value, read at] and every meter replaced."""

    pk: int
    unit: str
    per_run: Any
    per_hour: Any
    reading: Row | None
    replaced: list[Row]


def newest_of(work: QuerySet[WorkRecord]) -> tuple[AsJson, AsJson]:
    """Return the newest passed and the newest act under the rule of the outer query."""
    of_rule = work.filter(rule=OuterRef("pk"))
    waits_for = Case(
        When(doubted_by__isnull=False, then=Value(IN_DOUBT)),
        When(needs_second_look=True, second_look_by="", then=Value(SECOND_LOOK)),
        default=Value(None),
    )
    passed = newest(of_rule.filter(result=WorkResult.PASSED), "done_on", "due_on", "month_only", waits_for)
    return passed, newest(of_rule, "done_on", "result")


def more_of(work: QuerySet[WorkRecord], in_service_on: Combinable, at: datetime) -> AsJson:
    """Return the rest of a rule that is not simple. ``in_service_on``: that of its item, as the query reaches it."""
    acts = work.filter(rule=OuterRef("pk"), result=WorkResult.PASSED)
    counter: QuerySet[Counter] = QuerySet(Counter).filter(pk=OuterRef("counter"))
    readings = current(CounterReading).filter(counter=OuterRef("pk"), read_at__lte=at).order_by("-read_at", "-id")
    window = ("window_kind", "window_months", "window_days", "early_months", "early_days", "window_percent")
    row = JsonArray(
        F("effect"), F("anchor"), AsJson(JsonArray(*map(F, window))), F("count_every"), F("count_life"),
        F("count_at_fitting"), F("life_months"), F("life_begins_on"), in_service_on, F("triggers"), F("defer_months"),
        F("hard_stop_months"),
        nested(acts, "pk", "done_on", "due_on", "month_only", "count", "kind"),
        nested(current(Happened).filter(equipment=OuterRef("equipment")), "kind", "happened_on"),
        nested(current(Deferral).filter(rule=OuterRef("pk")), "looked_on", "no_damage"),
        newest(
            counter.order_by(), "pk", "unit", "per_run", "per_hour", newest(readings, "value", "read_at"),
            nested(current(Replaced).filter(counter=OuterRef("pk")), "replaced_on", "last_of_old", "first_of_new"),
        ),
    )  # fmt: skip
    return AsJson(Case(When(SIMPLE, then=Value(None)), default=row, output_field=TextField()))


@lru_cache
def _law() -> PercentLaw:
    table = load(FOLDER / "windows.toml")
    return PercentLaw(int(table["percentage.month_days"].number), int(table["percentage.cap_days"].number))


def terms_of(row: RuleRow) -> Terms:
    """Return what a rule says."""
    interval = Span(row.months, row.days)
    if row.more is None:
        return Terms(interval)
    more = MoreRow._make(row.more)
    every = _decimal(more.count_every)
    return Terms(
        interval=interval,
        anchor=Anchor(more.anchor),
        window=window_of(more.window),
        count_every=every or None,
        allowed=_allowed(more, every),
        count_life=_decimal(more.count_life) or None,
        count_at_fitting=_decimal(more.count_at_fitting) or Decimal(0),
        life=Span(more.life_months),
        triggers=frozenset(triggers_of(more.triggers)),
        step=Span(more.defer_months),
        hard_stop=Span(more.hard_stop_months),
    )


def triggers_of(text: str) -> tuple[str, ...]:
    """Return the kinds of events that a rule names.

    >>> triggers_of("moved, suspected contamination,")
    ('moved', 'suspected contamination')
    """
    return tuple(word.strip() for word in text.split(",") if word.strip())


def window_of(columns: Row) -> Window:
    """Return a window from its columns. Late days without a kind are a window after the due day alone."""
    name, months, days, early_months, early_days, percent = columns
    kind, before, after = WindowKind(name), Span(early_months, early_days), Span(months, days)
    if kind is WindowKind.PERCENTAGE:
        return Window(kind, percent=_decimal(percent) or Decimal(0), law=_law())
    if kind is WindowKind.SYMMETRIC:
        return Window(kind, after, after)
    if kind is WindowKind.NONE and after:
        return Window(WindowKind.ASYMMETRIC, before, after)
    return Window(kind, before, after)


def _allowed(more: MoreRow, every: Decimal | None) -> Decimal:
    """Return how far early or late by counter keeps the anchor: a percentage, capped for running hours."""
    if not every or more.window[0] != WindowKind.PERCENTAGE:
        return Decimal(0)
    hours = more.counter is not None and CounterRow._make(more.counter).unit == CounterUnit.HOURS
    cap = load(FOLDER / "windows.toml")["hours.cap"].number if hours else None
    return allowance(every, _decimal(more.window[5]) or Decimal(0), cap)


def past_of(
    row: RuleRow, zone: str, *, until: str = LAST_DAY, totals: Mapping[int, tuple[Reading, ...]] | None = None
) -> Past:
    """Return what is on record under a rule through the day ``until``.

    ``totals``: running total of each counter; without it only the newest reading is known, which is enough to
    say whether a count is reached.
    """
    if row.more is None:
        if row.passed is None:
            return Past()
        done_on, due_on, month_only, _ = row.passed
        return Past((Act(_day(done_on), _maybe(due_on), bool(month_only)),))
    more = MoreRow._make(row.more)
    acts = sorted((act for act in more.acts if act[1] <= until), key=lambda act: (act[1], act[0]))
    return Past(
        acts=tuple(
            Act(_day(done), _maybe(due), bool(month), _decimal(count), kind == WorkKind.REPLACEMENT)
            for _pk, done, due, month, count, kind in acts
        ),
        happenings=tuple(Happening(kind, _day(on)) for kind, on in more.happenings),
        looks=tuple(Inspection(_day(on), bool(clean)) for on, clean in more.looks),
        total=_total(more.counter, zone, totals),
        begun_on=_maybe(more.life_begins_on) or _maybe(more.in_service_on),
    )


def _total(counter: Row | None, zone: str, totals: Mapping[int, tuple[Reading, ...]] | None) -> tuple[Reading, ...]:
    if counter is None:
        return ()
    row = CounterRow._make(counter)
    if totals is not None:
        return totals.get(row.pk, ())
    if row.reading is None:
        return ()
    value, read_at = row.reading
    on = local_day(read_at, zone)
    return (Reading(on, Decimal(str(value)) + offset_on(on, replacements(row.replaced))),)


def replacements(rows: list[Row]) -> list[MeterReplacement]:
    """Return replaced meters."""
    return [MeterReplacement(_day(on), Decimal(str(old)), Decimal(str(new))) for on, old, new in rows]


@lru_cache(maxsize=8192)
def local_day(text: str, zone: str) -> date:
    """Return the civil day in ``zone`` of a stored UTC time."""
    return datetime.fromisoformat(text[:19]).replace(tzinfo=UTC).astimezone(ZoneInfo(zone)).date()


def _decimal(value: Any) -> Decimal | None:
    return None if value is None else Decimal(str(value))


def _day(text: str) -> date:
    return date.fromisoformat(text)


def _maybe(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
