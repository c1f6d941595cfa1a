"""Worksheet: when something falls due."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import InputError, Worksheet
from maintenance.compute.counters import CounterError, MeterReplacement, Reading, projected_on, running_total
from maintenance.compute.deferral import DeferralRule, Deferred, Inspection, deferred
from maintenance.compute.due import (
    Anchor,
    Cause,
    Due,
    Happening,
    Last,
    Side,
    by_age,
    by_calendar,
    by_counter,
    by_event,
    next_count,
)
from maintenance.compute.due_windows import PercentLaw, Window, WindowError, WindowKind
from maintenance.compute.intervals import CalendarError, Span
from maintenance.worksheets.common import UPKEEP, chosen, values
from maintenance.worksheets.due_inputs import INPUTS, OUTPUTS, TRIGGERS
from maintenance.worksheets.due_reasons import of_deferral, sentence

if TYPE_CHECKING:
    from datetime import date

    from facility.compute.worksheet import Given

LONGEST_MONTH = 31


def _count(given: Given, name: str) -> int:
    return int(given.maybe(name) or 0)


def _span(given: Given, name: str) -> Span:
    return Span(_count(given, f"{name}_months"), _count(given, f"{name}_days"))


def _last(given: Given) -> Last:
    done = given.month("done_on")
    day = given.maybe("anchor_day")
    kept = int(day) if day is not None else (LONGEST_MONTH if done.month_only else None)
    return Last(done.on, given.maybe_day("due_on"), kept)


def _window(given: Given) -> Window:
    kind = WindowKind(given.text("window") or WindowKind.NONE)
    table = values("windows.toml")
    law = PercentLaw(int(table["percentage.month_days"].number), int(table["percentage.cap_days"].number))
    before, after = _span(given, "window_before"), _span(given, "window_after")
    percent = given.maybe("window_percent")
    if kind is WindowKind.PERCENTAGE and percent is None:
        raise InputError("window_percent", None, "0 to 50 %, since window is percentage")
    if kind is WindowKind.SYMMETRIC:
        if before and after and before != after:
            raise InputError("window_after_days", given.maybe("window_after_days"), "as before, since symmetric")
        before = after = before or after
    if kind in (WindowKind.SYMMETRIC, WindowKind.ASYMMETRIC, WindowKind.FROM_DONE) and not (before or after):
        raise InputError("window_before_days", None, f"days or months on a side, since window is {kind}")
    return Window(kind, before, after, percent or Decimal(0), law)


def _calendar(given: Given) -> Side | None:
    interval = Span(_count(given, "months"), _count(given, "days"))
    if not interval:
        return None
    anchor = Anchor(given.text("anchor") or Anchor.FLOATING)
    if anchor is Anchor.FIXED and given.maybe_day("due_on") is None:
        raise InputError("due_on", None, "the day the last act had been due, since anchor is fixed")
    try:
        return by_calendar(interval, _last(given), anchor, _window(given))
    except WindowError:
        allowed = "a window that closes after it opens, within the interval"
        raise InputError("window", given.text("window"), allowed) from None


def _total(given: Given) -> tuple[Reading, ...]:
    readings = [Reading(row.day("on"), row.number("value")) for row in given.rows("readings")]
    changes = [
        MeterReplacement(row.day("on"), row.number("last_of_old"), row.number("first_of_new"))
        for row in given.rows("meter_replacements")
    ]
    try:
        return running_total(readings, changes)
    except CounterError:
        shown = ", ".join(f"{one.value} on {one.on}" for one in readings)
        raise InputError("readings", shown, "a counter only goes up; put a changed one in meter_replacements") from None


def _next_count(given: Given) -> Decimal | None:
    interval, done_at = given.maybe("counter_interval"), given.maybe("counter_done")
    if interval is None:
        return None
    if done_at is None:
        raise InputError("counter_done", None, "the running total at the last act, since counter_interval is given")
    return next_count(interval, done_at, given.maybe("counter_due"), given.maybe("counter_window") or Decimal(0))


def _sides(given: Given, total: tuple[Reading, ...], limit: Decimal | None) -> list[Side]:
    span = _count(given, "usage_span_days") or int(values("windows.toml")["usage.span_days"].number)
    found = [_calendar(given)]
    if limit is not None:
        found.append(by_counter(limit, total, span))
    life_count, life_months, begun = (
        given.maybe("life_count"),
        given.maybe("life_months"),
        given.maybe_day("life_from"),
    )
    if life_count is not None:
        found.append(by_counter(life_count, total, span, Cause.LIFE_COUNT))
    if life_months is not None:
        if begun is None:
            raise InputError("life_from", None, "the day the life began, since life_months is given")
        found.append(by_age(Span(int(life_months)), begun))
    happenings = [Happening(row.text("kind"), row.day("on")) for row in given.rows("events")]
    found.append(by_event(_last(given), frozenset(TRIGGERS), happenings))
    return [side for side in found if side is not None]


def _deferral(given: Given) -> Deferred | None:
    stop, step = given.maybe("hard_stop_months"), given.maybe("deferral_months")
    if stop is None:
        return None
    interval = Span(_count(given, "months"), _count(given, "days"))
    if step is None or not interval:
        name = "deferral_months" if step is None else "months"
        raise InputError(name, None, "whole months above 0, since hard_stop_months is given")
    rule = DeferralRule(interval, Span(int(step)), Span(int(stop)))
    done = given.month("done_on")
    inspections = [Inspection(row.day("on"), row.yes("clean")) for row in given.rows("inspections")]
    return deferred(rule, done.on, inspections, month_only=done.month_only)


def _compute(given: Given) -> dict[str, object]:
    try:
        return _due(given)
    except CalendarError:
        raise InputError(
            "done_on", given.month("done_on").on, "dates and intervals within the years 1 to 9999"
        ) from None


def _due(given: Given) -> dict[str, object]:
    total, limit = _total(given), _next_count(given)
    sides, put_off = _sides(given, total, limit), _deferral(given)
    if put_off is not None:
        sides = [side for side in sides if side.cause is not Cause.CALENDAR]
        sides.append(Side(Cause.CALENDAR, put_off.due_on))
    if not sides:
        raise InputError("months", None, "at least one interval, life limit or event")
    due = Due(tuple(sides))
    first, today = due.first, given.day("today")
    calendar = next((side for side in sides if side.cause is Cause.CALENDAR), None)
    opening = calendar.opening if calendar is not None else None
    allowed = given.maybe("counter_window")
    unit = given.text("counter_unit")
    return {
        "due_on": first.due_on if first else None,
        "due_by": first.cause if first else None,
        "in_date": due.in_date(today, window_keeps_good=given.yes("window_keeps_good")),
        "days_left": (first.due_on - today).days if first and first.due_on else None,
        "window_opens": opening.opens if opening else None,
        "window_closes": opening.closes if opening else None,
        "anchor_kept": calendar.anchor_kept if calendar else None,
        "next_count": limit,
        "count_opens": None if limit is None or allowed is None else limit - allowed,
        "count_closes": None if limit is None or allowed is None else limit + allowed,
        **_projection(sides, total),
        "hard_stop_on": put_off.hard_stop_on if put_off else None,
        "deferrals": put_off.times if put_off else None,
        "reasons": [sentence(side, unit) for side in sides] + ([of_deferral(put_off)] if put_off else []),
    }


def _projection(sides: list[Side], total: tuple[Reading, ...]) -> dict[str, date | float | int | None]:
    """Return the projected day of the first counter side, with its span and scatter."""
    counted = [side for side in sides if side.usage is not None and side.limit is not None]
    names = ("projected_on", "projected_earliest", "projected_latest", "usage_per_day", "usage_span_days")
    if not counted:
        return {**dict.fromkeys(names), "usage_scatter": None}
    side = min(counted, key=lambda one: one.limit or Decimal(0))
    rate, limit = side.usage, side.limit
    if rate is None or limit is None:
        return {**dict.fromkeys(names), "usage_scatter": None}
    return {
        "projected_on": side.due_on if side.projected else None,
        "projected_earliest": projected_on(total[-1], limit, rate.fastest),
        "projected_latest": projected_on(total[-1], limit, rate.slowest),
        "usage_per_day": float(rate.per_day),
        "usage_span_days": rate.span_days,
        "usage_scatter": rate.scatter,
    }


INTERVAL_DUE = Worksheet(
    name="interval_due",
    title=_("When something falls due"),
    inputs=INPUTS,
    outputs=OUTPUTS,
    source="calendar arithmetic with last valid day; TM 1-1500-328-23 for windows; UFC 3-430-07 for deferral",
    formula=_(
        "calendar: done (or due, if fixed and done inside the window) + interval, last valid day of the month;"
        " counter: date of the last reading + (limit - reading) / rate, fractions of a day cut off;"
        " each side by itself, whichever comes first"
    ),
    caution=UPKEEP,
    compute=_compute,
    rests_on=chosen("windows.toml"),
)
