"""Inputs and outputs of the worksheet that reckons due dates."""

from __future__ import annotations

from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import Output
from facility.compute.worksheet_inputs import (
    choice,
    day,
    day_or_month,
    number,
    optional,
    rows,
    text,
    whole,
    yes_no,
)
from maintenance.compute.due import Anchor
from maintenance.compute.due_windows import WindowKind

COUNT = "counter_unit"
BIG = ("0", "1000000000")
MONTHS = ("0", "1200")
DAYS = ("0", "36525")
TRIGGERS = ("moved", "repaired", "overhauled", "opened", "suspected contamination", "pressure exposure")

INPUTS = (
    day_or_month("done_on", "2026-01-20", _("the last act; a month alone is good to the end of that month")),
    day("today", "2026-03-01", _("day to say in date or not for")),
    optional(whole("months", "months", 6, MONTHS, _("calendar interval, with days; both left out: none"))),
    optional(whole("days", "d", 0, DAYS, _("calendar interval, added after the months"))),
    optional(choice("anchor", tuple(Anchor), "fixed", _("next from the day done, or from the day due"))),
    optional(day("due_on", "2026-01-31", _("when the last act had been due; for a fixed anchor"))),
    optional(whole("anchor_day", "1", 31, ("1", "31"), _("day of the month that is kept over short months"))),
    optional(choice("window", tuple(WindowKind), "percentage", _("how early and late it may be done"))),
    optional(whole("window_before_months", "months", None, MONTHS, _("before the due day, or earliest after the act"))),
    optional(whole("window_before_days", "d", None, DAYS, _("the same, in days"))),
    optional(whole("window_after_months", "months", None, MONTHS, _("after the due day, or latest after the act"))),
    optional(whole("window_after_days", "d", None, DAYS, _("the same, in days"))),
    optional(number("window_percent", "%", 10, ("0", "50"), _("of the interval; capped at 30 days"))),
    optional(yes_no("window_keeps_good", False, _("house choice: good through the window's end"))),
    optional(text("counter_unit", "cycles", _("what the counter counts: cycles, h, days of use"))),
    optional(number("counter_interval", COUNT, 500, (">0", "1000000000"), _("interval by counter"))),
    optional(number("counter_done", COUNT, 7100, BIG, _("running total at the last act"))),
    optional(number("counter_due", COUNT, None, BIG, _("running total at which that act had been due; fixed anchor"))),
    optional(number("counter_window", COUNT, None, BIG, _("how far early or late by counter keeps the anchor"))),
    optional(
        rows(
            "readings",
            (day("on", "2026-02-01", _("day")), number("value", COUNT, 7300, BIG, _("what the counter showed"))),
            [
                {"on": "2025-08-01", "value": 6700},
                {"on": "2026-01-20", "value": 7100},
                {"on": "2026-02-20", "value": 7180},
            ],
            _("readings of the counter, any order"),
        )
    ),
    optional(
        rows(
            "meter_replacements",
            (
                day("on", "2026-02-01", _("day of the change")),
                number("last_of_old", COUNT, 900, BIG, _("last of the old counter")),
                number("first_of_new", COUNT, 0, BIG, _("first of the new one")),
            ),
            None,
            _("changed counters, as offsets"),
        )
    ),
    optional(whole("usage_span_days", "d", 365, ("1", "36525"), _("span for the rate of use"))),
    optional(day("life_from", None, _("when the life began"))),
    optional(whole("life_months", "months", None, ("1", "1200"), _("life limit by age"))),
    optional(number("life_count", COUNT, None, (">0", "1000000000"), _("life limit by running total"))),
    optional(
        rows(
            "events",
            (choice("kind", TRIGGERS, "moved", _("what happened")), day("on", "2026-02-10", _("day"))),
            None,
            _("events that ask for the act anew"),
        )
    ),
    optional(whole("hard_stop_months", "months", None, ("1", "1200"), _("never later than this after done_on"))),
    optional(whole("deferral_months", "months", None, ("1", "1200"), _("put off by this at each clean inspection"))),
    optional(
        rows(
            "inspections",
            (day("on", "2026-02-10", _("day")), yes_no("clean", True, _("whether it found nothing"))),
            None,
            _("inspections that may defer"),
        )
    ),
)
OUTPUTS = (
    Output("due_on", "YYYY-MM-DD", _("last good day: whichever side comes first; none if none has a date")),
    Output("due_by", "", _("the side that comes first")),
    Output("in_date", "", _("on the day asked for")),
    Output("days_left", "d", _("from today to the due day; below 0 overdue")),
    Output("window_opens", "YYYY-MM-DD", _("of the calendar side")),
    Output("window_closes", "YYYY-MM-DD", _("of the calendar side")),
    Output("anchor_kept", "", _("fixed anchor: whether the last act was done inside its window")),
    Output("next_count", COUNT, _("running total at which it is next due")),
    Output("count_opens", COUNT, _("running total from which doing it keeps the anchor")),
    Output("count_closes", COUNT, _("running total up to which doing it keeps the anchor")),
    Output("projected_on", "YYYY-MM-DD", _("when the first counter limit is reached at the rate of use")),
    Output("projected_earliest", "YYYY-MM-DD", _("at the fastest rate between two readings")),
    Output("projected_latest", "YYYY-MM-DD", _("at the slowest rate between two readings")),
    Output("usage_per_day", "counter_unit/d", _("over the span used")),
    Output("usage_span_days", "d", _("span used")),
    Output("usage_scatter", "counter_unit/d", _("standard deviation between readings; none below two rates")),
    Output("hard_stop_on", "YYYY-MM-DD", _("never later")),
    Output("deferrals", "1", _("how often it was put off")),
    Output("reasons", "", _("every side in words")),
)
