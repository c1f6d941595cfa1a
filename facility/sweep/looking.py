"""sweep(): look at every site, a few at a time, so that memory does not grow with their number."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from facility import events, house
from facility.compute.flags import Ahead, Flag, FlagState, News, Sort, ahead_of, flags_of
from facility.compute.instants import MINUTES_PER_DAY, format_instant, instant_of
from facility.gathered import current
from facility.models import Chamber, Site
from facility.models import Flag as Stored
from facility.readiness.gather import in_parts
from facility.sweep import raising
from facility.sweep.raising import Look
from facility.sweep.rows import things_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    from facility.sweep.rows import HouseRules

AT_ONCE = 25
"""Sites per round."""


class ClockError(ValueError):
    """The clock runs behind the records: what is due today cannot be told."""


def sweep(at: datetime) -> str:
    """Raise the flags of all sites at ``at`` and return the closing line.

    Errors: ClockError if the newest event is of later than ``at``; nothing is raised then.
    """
    refuse_wrong_clock(at)
    new = standing = 0
    for sites in rounds():
        for one in look_at(sites, at):
            new += len(one.new)
            standing += one.standing
    return f"flags {new} new, {standing} standing"


def refuse_wrong_clock(at: datetime) -> None:
    """Refuse to reckon days with a clock that was set back."""
    newest = events.latest().values_list("recorded_at", flat=True).first()
    if newest is not None and newest > at + events.CLOCK_SLACK:
        raise ClockError(
            _("The newest record is of %(newest)s, the clock says %(now)s: nothing was flagged. Set the clock.")
            % {"newest": f"{newest:%Y-%m-%d %H:%M} UTC", "now": f"{at:%Y-%m-%d %H:%M} UTC"}
        )


def rounds(last: int = 0) -> Iterator[list[Site]]:
    """Yield the sites that are still there, a few at a time, from behind number ``last`` on."""
    while sites := list(current(Site).filter(pk__gt=last).order_by("pk")[:AT_ONCE]):
        last = sites[-1].pk
        yield sites


def look_at(sites: list[Site], at: datetime) -> Iterator[News]:
    """Look at some sites: the number of queries does not grow with their records, only with what is new."""
    rules = house.values_of([site.pk for site in sites])
    zones = {site.pk: (site.zone, at.astimezone(ZoneInfo(site.zone)).date()) for site in sites}
    things = things_of(rules, zones)
    plans = plan_flags(sites, rules, at)
    stored: dict[int, list[Stored]] = defaultdict(list)
    for row in Stored.objects.filter(site__in=rules, over_at=None):
        stored[row.site_id].append(row)
    for site in sites:
        today = zones[site.pk][1]
        soon = int(rules[site.pk]["due_soon_days"])
        found = [*flags_of(things.get(site.pk, ()), today, soon), *plans.get(site.pk, ())]
        told = raising.compared(stored[site.pk], found)
        yield raising.store(Look(site.pk, at, today), found) if told.new or told.over else told


def plan_flags(sites: list[Site], rules: Mapping[int, HouseRules], at: datetime) -> dict[int, list[Flag]]:
    """Return the plans that some need will stop within the lead time of their site."""
    chambers = current(Chamber).filter(site__in=sites).order_by("pk")
    found: dict[int, list[Flag]] = defaultdict(list)
    for records in in_parts(chambers, at):
        for chamber, facts in records.facts.items():
            lead = int(rules[chamber.site_id]["lead_time_days"]) * MINUTES_PER_DAY
            found[chamber.site_id] += [_plan_flag(chamber, one) for one in ahead_of(facts, instant_of(at), lead)]
    return found


def _plan_flag(chamber: Chamber, ahead: Ahead) -> Flag:
    return Flag(
        key=f"plan:{chamber.pk}:{ahead.plan}:{ahead.need}", state=FlagState.AHEAD, last_good=None, sort=Sort.PLAN,
        name=f"{chamber.key}: {ahead.plan}", pk=chamber.pk,
        note=f"not ready from {format_instant(ahead.from_)}, stopped by {ahead.need}",
    )  # fmt: skip
