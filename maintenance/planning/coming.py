"""What work and replacements lie ahead at a site: rules, lives and prices as rows of the budget."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from maintenance.compute.budget import Ahead, priced, remembered
from maintenance.compute.due import Cause
from maintenance.compute.intervals import Span
from maintenance.models import Equipment, IntervalRule, WorkRecord
from maintenance.upkeep.state import DueState, Word, iter_due_states

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import date

    from facility.models import Site

LIVES = {Cause.LIFE_AGE, Cause.LIFE_COUNT}


class Again(NamedTuple):
    """How often a rule asks anew: by the calendar, or by a counter."""

    months: int
    days: int
    count_every: Decimal | None


class Item(NamedTuple):
    """What the budget knows of an item."""

    tag: str
    name: str
    life_ends_on: date | None
    price_new: Decimal | None
    currency: str


def ahead_of(site: Site, today: date) -> tuple[Ahead, ...]:
    """Return every act and replacement of a site, priced by hand or by what was last paid; a constant number of queries."""
    items = {row[0]: Item(*row[1:]) for row in _items(site)}
    again = {row[0]: Again(*row[1:]) for row in _rules(site)}
    rows = [row for state in iter_due_states(site, today) for row in _of_state(state, again, items, today)]
    rows += [
        Ahead(
            f"{item.tag} {item.name}", "", item.life_ends_on, price=item.price_new, currency=item.currency, life=True,
            item_id=pk,
        )
        for pk, item in items.items() if item.life_ends_on is not None
    ]  # fmt: skip
    return priced(rows, remembered(_paid(site)))


def _items(site: Site) -> Any:
    return Equipment.objects.filter(site=site, retired_at=None).values_list(
        "pk", "tag", "name", "life_ends_on", "price_new", "currency"
    )


def _rules(site: Site) -> Any:
    return IntervalRule.objects.filter(equipment__site=site, retired_at=None).values_list(
        "pk", "months", "days", "count_every"
    )


def _paid(site: Site) -> Iterator[tuple[int, date, Decimal, str]]:
    rows = WorkRecord.objects.filter(
        equipment__site=site, retired_at=None, rule__isnull=False, cost__isnull=False
    ).values_list("rule_id", "done_on", "cost", "currency")
    for rule, day, cost, currency in rows:
        yield int(rule or 0), day, cost or Decimal(0), currency


def _of_state(state: DueState, again: Mapping[int, Again], items: Mapping[int, Item], today: date) -> Iterator[Ahead]:
    """Yield the act of a rule as it comes again and again, and each end of a life by itself."""
    item = items[state.equipment]
    name = f"{state.tag} {state.item}"
    for side in state.sides:
        if side.cause in LIVES:
            yield Ahead(
                name, state.act, side.due_on, price=item.price_new, currency=item.currency, projected=side.projected,
                life=True, item_id=state.equipment, rule_id=state.rule,
            )  # fmt: skip
    acts = [side for side in state.sides if side.cause not in LIVES]
    first = min((side.due_on for side in acts if side.due_on is not None), default=None)
    if not acts and state.word != Word.NEVER:
        return
    how = again[state.rule]
    interval = Span(how.months, how.days) if how.months or how.days else None
    every = None if interval else _days_for_count(state, how.count_every)
    yield Ahead(
        name, state.act, today if state.word == Word.NEVER else first, interval, every, state.price, state.currency,
        state.projected, item_id=state.equipment, rule_id=state.rule,
    )  # fmt: skip


def _days_for_count(state: DueState, count_every: Decimal | None) -> int | None:
    """Return in how many days so many counts come together at the present use; None where nobody can tell."""
    usage = next((side.usage for side in state.sides if side.usage is not None), None)
    if count_every is None or usage is None or usage.per_day <= 0:
        return None
    return max(1, round(float(count_every) / float(usage.per_day)))
