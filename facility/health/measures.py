"""What the monitor is told: readiness of each plan, how much falls due when, and how the jobs stand."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from facility import house
from facility.compute.fleet import chamber_state
from facility.compute.instants import datetime_of
from facility.gathered import branch, current, fetch
from facility.health.box_measures import add_days, day_gauges, of_the_box
from facility.health.exposition import Gauge
from facility.health.many import of_many
from facility.health.parts import SCHEDULER, queue
from facility.health.plan_gauges import PlanGauges
from facility.models import Chamber, Heartbeat, Site
from facility.readiness.services import answers
from facility.sweep.rows import things_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.compute.flags import Thing

SITE, CHAMBER, BEAT = "site", "chamber", "beat"
RECKONED = 25
"""Up to so many chambers are reckoned for each scrape, with every day listed; of more, what was kept is told. A design choice."""
WITHIN = (("7 d", 7), ("30 d", 30), ("90 d", 90))
"""Spans that are counted, each without the ones before it."""


@dataclass(frozen=True, slots=True)
class Box:
    """What is measured: sites [key, zone] by number, their chambers, and when the job runner was last seen."""

    sites: dict[int, tuple[str, str]]
    chambers: list[Chamber]
    beats: list[str]


def measures(at: datetime) -> list[Gauge]:
    """Return all measures; the number of queries does not grow with records or chambers."""
    box = box_now()
    standing = of_many(at) if len(box.chambers) > RECKONED else [*of_plans(box, at), *of_due(box, at)]
    return [*standing, *of_jobs(box, at), *of_the_box(at)]


def box_now() -> Box:
    """Return sites, chambers and heartbeats, in one query."""
    rows = fetch(
        [
            branch(SITE, current(Site), "pk", "key", "zone"),
            branch(CHAMBER, current(Chamber).filter(site__retired_at=None), "pk", "site_id", "key"),
            branch(BEAT, Heartbeat.objects.filter(name__startswith=SCHEDULER), "beat_at"),
        ]
    )
    chambers = [Chamber(pk=pk, site_id=site, key=key) for pk, site, key in sorted(rows[CHAMBER])]
    return Box({pk: (key, zone) for pk, key, zone in rows[SITE]}, chambers, [row[0] for row in rows[BEAT]])


def of_plans(box: Box, at: datetime) -> list[Gauge]:
    """Return the state of every chamber and of every plan in force."""
    plans = PlanGauges()
    for answer in answers(box.chambers, at):
        labels = {"site": box.sites[answer.chamber.site_id][0], "chamber": answer.chamber.key}
        plans.add_chamber(str(chamber_state([found.state for found in answer.evaluations.values()])), **labels)
        for plan, found in answer.evaluations.items():
            until = None if found.holds_until is None else datetime_of(found.holds_until)
            plans.add(str(found.state), until, **labels, plan=plan)
    return plans.all()


def of_due(box: Box, at: datetime) -> list[Gauge]:
    """Return how many things of each sort are good for how long."""
    count = Gauge("deepstead_due_things", "Things by sort and by when the last good day is reached.")
    nearest = Gauge("deepstead_due_nearest_days", "Days to the nearest last good day of a sort; below 0: past it.")
    days, more = day_gauges()
    civil = {pk: (zone, at.astimezone(ZoneInfo(zone)).date()) for pk, (_key, zone) in box.sites.items()}
    found = things_of(house.values_of(box.sites), civil)
    for pk, (key, _zone) in sorted(box.sites.items()):
        things, today = found.get(pk, ()), civil[pk][1]
        for (sort, within), number in sorted(Counter((str(one.sort), within_of(one, today)) for one in things).items()):
            count.add(float(number), site=key, sort=sort, within=within)
        for sort, left in sorted(nearest_of(things, today).items()):
            nearest.add(float(left), site=key, sort=sort)
        more.add(float(add_days(days, things, today, site=key)), site=key)
    return [count, nearest, days, more]


def within_of(thing: Thing, today: date) -> str:
    """Return the span in which a thing's last good day lies."""
    if thing.good_through is None:
        return "never recorded"
    days = (thing.good_through - today).days
    if days < 0:
        return "past"
    return next((name for name, most in WITHIN if days <= most), "later")


def nearest_of(things: Iterable[Thing], today: date) -> dict[str, int]:
    """Return the fewest days that a thing of each sort has left."""
    nearest: dict[str, int] = {}
    for one in things:
        if one.good_through is not None:
            days = (one.good_through - today).days
            nearest[str(one.sort)] = min(days, nearest.get(str(one.sort), days))
    return nearest


def of_jobs(box: Box, at: datetime) -> list[Gauge]:
    """Return how the jobs stand."""
    jobs = Gauge("deepstead_jobs", "Jobs that wait although due, and jobs that were given up.")
    found = queue(at)
    jobs.add(float(found.waiting), state="waiting")
    jobs.add(float(found.dead), state="dead")
    oldest = Gauge("deepstead_oldest_waiting_job_seconds", "How long the job that is due longest has waited.")
    oldest.add(found.oldest_s or 0.0)
    beat = Gauge("deepstead_scheduler_age_seconds", "Time since the job runner was last seen; left out if never.")
    if box.beats:
        beat.add(min((at - stored(text)).total_seconds() for text in box.beats))
    return [jobs, oldest, beat]


def stored(text: str) -> datetime:
    """Read a stored time; SQLite writes UTC without saying so."""
    moment = datetime.fromisoformat(text)
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment
