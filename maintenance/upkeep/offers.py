"""A rule of a code as the pages print it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.counted import counted
from maintenance.compute.intervals import Span
from maintenance.compute.requirements import IntervalKind, RuleEffect
from maintenance.upkeep.adopting import ADOPTABLE, source_text
from maintenance.upkeep.words import span_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from maintenance.compute.requirements import Interval, Requirement
    from maintenance.models import IntervalRule


@dataclass(frozen=True, slots=True)
class Offer:
    """A rule with its interval, source and effect in words, and the site's rules that come from it."""

    rule: Requirement
    interval: str
    source: str
    effect: str
    adoptable: bool
    adopted: tuple[IntervalRule, ...] = ()


def offer_of(rule: Requirement, adopted: Sequence[IntervalRule] = ()) -> Offer:
    """Return a rule as the pages print it."""
    effects = {
        RuleEffect.STOPS: _("overdue, it takes the item out"), RuleEffect.LIMITS: _("overdue, it restricts the item"),
        RuleEffect.WATCH: _("shown, without effect on readiness"),
    }  # fmt: skip
    kind = rule.interval.kind
    return Offer(
        rule, interval_text(rule.interval), source_text(rule), effects[rule.effect], kind in ADOPTABLE, tuple(adopted)
    )


def interval_text(interval: Interval) -> str:
    """Return an interval in words."""
    if interval.kind is IntervalKind.LIFE:
        text = _("life of %(span)s") % {"span": span_text(Span(interval.months))}
        return text + (
            _(" or %(counts)s, whichever comes first") % {"counts": counted(interval.counts, "count", "counts")}
            if interval.counts
            else ""
        )
    if interval.kind is not IntervalKind.CALENDAR:
        return _kind_text(interval.kind)
    text = _("every %(span)s") % {"span": span_text(Span(interval.months))}
    if interval.latest:
        text += _(", allowed %(low)d to %(high)d months after the last one") % {
            "low": interval.earliest,
            "high": interval.latest,
        }
    if interval.plus_minus:
        text += _(", %(months)s before or after the day") % {"months": counted(interval.plus_minus, "month", "months")}
    if interval.hard_stop:
        text += _(", put off by %(step)d months at a clean look, never later than %(stop)d months") % {
            "step": interval.deferrable, "stop": interval.hard_stop}  # fmt: skip
    return text


def _kind_text(kind: IntervalKind) -> str:
    return {
        IntervalKind.HOURS: _("by running hours, set by the maker"), IntervalKind.BEFORE_EACH_RUN: _("before each run"),
        IntervalKind.BEFORE_EACH_USE: _("before each use"), IntervalKind.AFTER_EACH_USE: _("after each use"),
        IntervalKind.ON_DELIVERY: _("on delivery"), IntervalKind.EXPIRY: _("at expiry"),
        IntervalKind.EVENT: _("on an event"), IntervalKind.STANDING: _("at all times"),
        IntervalKind.BY_OTHERS: _("set by the owner, maker or authority"),
    }.get(kind, str(kind))  # fmt: skip
