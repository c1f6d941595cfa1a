"""Each side of a rule in words, with the numbers that it is reckoned from, so that it can be done by hand."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.counted import counted
from facility.fields import day_text
from maintenance.compute.counters import projected_on
from maintenance.compute.due import Anchor, Cause
from maintenance.compute.intervals import Span
from maintenance.models import CounterUnit, HappeningKind, IntervalRule
from maintenance.readiness.rule_rows import triggers_of

if TYPE_CHECKING:
    from maintenance.compute.due import Side
    from maintenance.compute.rule_due import Past, Terms
    from maintenance.upkeep.state import DueState


@dataclass(frozen=True, slots=True)
class SideWords:
    """One side: its cause, its day, how the day comes about, and what else is to be known."""

    cause: str
    side: Side
    formula: str
    notes: tuple[str, ...] = ()


def cause_text(cause: Cause | None, event: str = "") -> str:
    """Return the cause in words."""
    if cause is None:
        return ""
    if cause is Cause.EVENT and event in HappeningKind.values:
        return str(HappeningKind(event).label)
    return {
        Cause.CALENDAR: _("calendar"), Cause.COUNTER: _("counter"), Cause.LIFE_AGE: _("life by age"),
        Cause.LIFE_COUNT: _("life by count"), Cause.EVENT: _("event"),
    }[cause]  # fmt: skip


def span_text(span: Span) -> str:
    """Return a span in words: 6 months and 10 days."""
    parts = [counted(span.months, "month", "months")] if span.months else []
    parts += [counted(span.days, "day", "days")] if span.days else []
    return _(" and ").join(parts)


def plain(value: Decimal | None) -> str:
    """Return a count without zeros behind it."""
    return "" if value is None else f"{value.normalize():f}"


def sides_in_words(state: DueState, terms: Terms, past: Past, unit: str) -> list[SideWords]:
    """Return every side in words. ``unit``: what the counter counts."""
    told = str(CounterUnit(unit).label) if unit in CounterUnit.values else ""
    found = []
    for side in state.sides:
        if side.cause is Cause.CALENDAR:
            formula, notes = _calendar(state, terms, past, side)
        elif side.cause is Cause.EVENT:
            formula = _("%(what)s on %(day)s, after the last act: due from that day on") % {
                "what": cause_text(side.cause, side.event), "day": _day(side)}  # fmt: skip
            notes = ()
        elif side.cause is Cause.LIFE_AGE:
            begun = next((act.done_on for act in reversed(past.acts) if act.renewed), past.begun_on)
            formula = _("begun %(begun)s + %(span)s = %(day)s, its last good day") % {
                "begun": day_text(begun) if begun else "", "span": span_text(terms.life), "day": _day(side)}  # fmt: skip
            notes = ()
        else:
            formula, notes = _counter(side, past, told)
        found.append(SideWords(cause_text(side.cause), side, formula, notes))
    return found


def _day(side: Side) -> str:
    return day_text(side.due_on) if side.due_on is not None else _("no day")


def _calendar(state: DueState, terms: Terms, past: Past, side: Side) -> tuple[str, tuple[str, ...]]:
    last = past.acts[-1]
    said = {"done": day_text(last.done_on), "span": span_text(terms.interval), "day": _day(side)}
    notes = []
    if last.month_only:
        notes.append(_("Only the month of the last act is known: good to the end of its month."))
    put_off = state.reckoned.put_off
    if last.due_on is not None:
        formula = _("done %(done)s; its certificate says %(day)s") % said
    elif put_off is not None:
        said |= {
            "first": day_text(put_off.first_due_on),
            "times": counted(put_off.times, "time", "times"),
            "step": span_text(terms.step),
        }
        formula = _("done %(done)s + %(span)s = %(first)s, put off %(times)s by %(step)s: %(day)s") % said
        notes.append(_("Never later than %(stop)s, the hard stop.") % {"stop": day_text(put_off.hard_stop_on)})
    elif side.anchor_kept:
        formula = _("due before, kept since it was done inside its window, + %(span)s = %(day)s; done %(done)s") % said
    else:
        formula = _("done %(done)s + %(span)s = %(day)s, its last good day") % said
        if terms.anchor is Anchor.FIXED and side.anchor_kept is False and len(past.acts) > 1:
            notes.append(_("It was not done inside its window, so it is reckoned from the day it was done."))
    if side.opening is not None and side.opening.opens != side.opening.closes:
        notes.append(_("Window: %(opens)s to %(closes)s.") % {
            "opens": day_text(side.opening.opens), "closes": day_text(side.opening.closes)})  # fmt: skip
    return formula, tuple(notes)


def _counter(side: Side, past: Past, unit: str) -> tuple[str, tuple[str, ...]]:
    latest = past.total[-1]
    limit = side.limit or Decimal(0)
    said = {
        "limit": plain(limit), "unit": unit, "latest": plain(latest.value), "on": day_text(latest.on), "day": _day(side),
    }  # fmt: skip
    if side.reached:
        return _("%(limit)s %(unit)s were reached on %(day)s; the running total is %(latest)s") % said, ()
    usage = side.usage
    if usage is None or not usage.per_day:
        return _("due at %(limit)s %(unit)s; %(latest)s on %(on)s, no rate of use, so no day") % said, ()
    said["rate"] = f"{float(usage.per_day):.3f}"
    formula = _("%(on)s + (%(limit)s - %(latest)s) / %(rate)s a day = about %(day)s") % said
    early, late = (projected_on(latest, limit, rate) for rate in (usage.fastest, usage.slowest))
    notes = [_("Rate over %(days)d days from %(n)d readings; from one reading to the next %(low).3f to %(high).3f a day.")
             % {"days": usage.span_days, "n": usage.readings, "low": usage.slowest, "high": usage.fastest}]  # fmt: skip
    if usage.scatter is not None:
        notes.append(_("Scatter (standard deviation of those rates): %(s).3f a day.") % {"s": usage.scatter})
    notes.append(_("At the fastest rate %(early)s, at the slowest %(late)s. Projected: it moves with each reading.") % {
        "early": day_text(early) if early else _("no day"), "late": day_text(late) if late else _("no day")})  # fmt: skip
    return formula, tuple(notes)


def interval_words(rule: IntervalRule) -> str:
    """Return how often a rule falls due, in words.

    >>> interval_words(IntervalRule(months=6, window_days=7))
    'every 6 months; window 7 days'
    """
    parts = []
    if rule.months or rule.days:
        parts.append(_("every %(span)s") % {"span": span_text(Span(rule.months, rule.days))})
    unit = str(CounterUnit(rule.counter.unit).label) if rule.counter else _("counts")
    if rule.count_every:
        parts.append(_("every %(n)s %(unit)s") % {"n": plain(rule.count_every), "unit": unit})
    if rule.count_life:
        parts.append(_("life of %(n)s %(unit)s") % {"n": plain(rule.count_life), "unit": unit})
    if rule.life_months:
        parts.append(_("life of %(span)s") % {"span": span_text(Span(rule.life_months))})
    if rule.triggers:
        events = ", ".join(cause_text(Cause.EVENT, one) for one in triggers_of(rule.triggers))
        parts.append(_("also after: %(events)s") % {"events": events})
    if rule.window_days:
        parts.append(ngettext("window %(n)d day", "window %(n)d days", rule.window_days) % {"n": rule.window_days})
    if rule.hard_stop_months:
        parts.append(_("never later than %(n)d months") % {"n": rule.hard_stop_months})
    return "; ".join(parts)
