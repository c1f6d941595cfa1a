"""What the monitor is told of single things and of the box itself: days left, backups, notices, when it was off."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Final

from django.conf import settings

from facility.backup import copies, store
from facility.checks import lan_certificate_end
from facility.compute.flags import Sort
from facility.health import pulse
from facility.health.exposition import Gauge
from facility.health.keeping import unsent
from facility.jobs.absence import WAS_OFF
from facility.models import Event
from facility.trust import faults

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.compute.flags import Thing

MOST: Final = 500
"""So many things of one site are listed, those with the fewest days first; a monitor keeps each as a series."""
NAMED: Final = frozenset({Sort.RULE, Sort.LIFE})
"""Sorts that are listed one by one: acts and things. What people hold is told by its sort only."""


def day_gauges() -> tuple[Gauge, Gauge]:
    """Return the measure of days left, and that of what is not listed."""
    return (
        Gauge("deepstead_due_days", "Days to the last good day of one act or thing; below 0: past it. No people."),
        Gauge(
            "deepstead_due_days_not_listed", "Acts and things with a day beyond those listed, which are the nearest."
        ),
    )


def add_days(days: Gauge, things: Iterable[Thing], today: date, *, site: str) -> int:
    """Add the days left of each act and thing of a site, nearest first. Return how many were left out."""
    listed = [(one.good_through, one) for one in things if one.sort in NAMED and one.good_through is not None]
    listed.sort(key=lambda pair: (pair[0], pair[1].key))
    for through, one in listed[:MOST]:
        days.add(float((through - today).days), site=site, sort=str(one.sort), thing=one.name, key=one.key)
    return max(0, len(listed) - MOST)


def of_the_box(at: datetime) -> list[Gauge]:
    """Return how old the newest backup is, what waits to leave, and when the box was off. Two queries."""
    age, end = store.newest_age(at), lan_certificate_end()
    count, oldest_s = unsent(at)
    seconds = None if age is None else age.total_seconds()
    left = None if end is None else (end - at).total_seconds()
    return [
        _one("deepstead_backup_age_seconds", "Age of the newest scheduled backup; left out if there is none.", seconds),
        _one("deepstead_backup_copies_lacking", "Places that have not got the newest backup.", len(copies.lacking())),
        _one("deepstead_unsent_notices", "Messages that wait to leave the box.", count),
        _one("deepstead_oldest_unsent_notice_seconds", "How long the oldest of them has waited.", oldest_s),
        _one("deepstead_certificate_left_seconds", "Time to the end of the local network's certificate.", left),
        _one("deepstead_log_faults", "Faults of log or keys that stand.", len(faults.standing())),
        *_last_off(),
        *_signs_of_life(),
    ]


def _signs_of_life() -> list[Gauge]:
    """Return how the signs of life to the outside stand; nothing without an address for them."""
    if not settings.HEARTBEAT_URL:
        return []
    found = pulse.standing()
    well_at = datetime.fromisoformat(found.well_at).timestamp() if found.well_at else None
    return [
        _one(
            "deepstead_sign_of_life_failures", "Signs of life that failed since the last that got out.", found.failures
        ),
        _one("deepstead_sign_of_life_seconds", "Unix time of the last sign of life that got out.", well_at),
    ]


def _one(name: str, words: str, value: float | None) -> Gauge:
    gauge = Gauge(name, words)
    if value is not None:
        gauge.add(float(value))
    return gauge


def _last_off() -> list[Gauge]:
    """Return the span of the last time that the box was off, as its event tells it; nothing if it never was."""
    found = Event.objects.filter(site_id_text="", action=WAS_OFF).order_by("-seq")
    payload = found.values_list("payload", flat=True).first()
    if payload is None:
        return []
    told = json.loads(payload)["after"]
    begin, end = (datetime.fromisoformat(told[name]).astimezone(UTC).timestamp() for name in ("from", "to"))
    return [
        _one(
            "deepstead_last_off_from_seconds", "Unix time of the last sign of life before the box was off last.", begin
        ),
        _one("deepstead_last_off_to_seconds", "Unix time of the first sign of life after it.", end),
    ]
