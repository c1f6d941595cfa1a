"""What one entry of a run's log costs, and the page of a run while four people watch.

Limits: design goals of this project; common practice, no source. The floor of an entry is the same row saved with its
one event in a transaction and nothing else.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING
from uuid import uuid4

from django.contrib.auth import get_user_model
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from facility import events, services
from facility.events import What
from facility.project.bench.readiness import QUERY_LIMIT, seconds
from facility.project.bench.result import Result
from facility.project.bench.scratch import Size, facilities, scratch_database
from treatments.log.services import Given, add_entry
from treatments.models import LogEntry, LogKind, Plan, Purpose, Run

if TYPE_CHECKING:
    from facility.models import Chamber

ENTRY_LIMIT = 2.0
WATCHERS = 4
TIMES = 60
BY = events.system("bench")
VALUES = {"o2_percent": "20.9", "temperature_c": "24.5"}


def _run(chamber: Chamber) -> Run:
    now = events.now()
    plan = Plan.objects.current().filter(chamber=chamber)[0]
    run = Run(chamber=chamber, number=412, purpose=Purpose.TEST, plan=plan, started_at=now - timedelta(hours=1),
              planned_end_at=now + timedelta(hours=4), supervisor="Ina Test", writer_device="bench")  # fmt: skip
    return services.add(run, by=BY)


def _watcher(number: int) -> Client:
    user = get_user_model()._default_manager.create(username=f"watcher{number}", is_superuser=True)
    client = Client(headers={"host": "localhost"})
    client.force_login(user)
    return client


def _bare(run: Run) -> None:
    """Save the row and its event with nothing asked, nothing checked and nothing acknowledged."""
    with transaction.atomic():
        now = events.now()
        row = LogEntry(
            run=run, kind=LogKind.READING, values=VALUES, occurred_at=now, recorded_at=now, recorded_by=BY.name
        )
        row.save(force_insert=True)
        what = What("log entry", "", None, services.plain(row), now, site_key=run.chamber.site.key)
        events.record(row, what, by=BY)


def entry() -> Result:
    """One reading stored and acknowledged against the same insert with its event."""
    with scratch_database():
        (chamber,) = facilities(1, Size(items=20, people=4, plans=1, needs=4, months=1))
        run = _run(chamber)

        def whole() -> None:
            add_entry(run.pk, Given(uuid4(), LogKind.READING, values=VALUES, device="bench"), site=chamber.site, by=BY)

        taken, floor = seconds([whole, lambda: _bare(run)], TIMES)
    return Result("one log entry against the same insert with its event", taken / floor, ENTRY_LIMIT, "times")


def page_queries() -> Result:
    """Queries of the page of a run's log with 100 lines, asked while four people watch."""
    with scratch_database():
        (chamber,) = facilities(1, Size(items=20, people=4, plans=1, needs=4, months=1))
        run = _run(chamber)
        for _place in range(100):
            _bare(run)
        address, since = (
            reverse(f"treatments:{name}", args=[chamber.site.key, run.pk]) for name in ("log", "log_since")
        )
        watchers = [_watcher(number) for number in range(WATCHERS)]
        marks = [watcher.get(since).headers["ETag"] for watcher in watchers]
        with CaptureQueriesContext(connection) as asked:
            watchers[0].get(address)
        with CaptureQueriesContext(connection) as polled:
            for watcher, mark in zip(watchers, marks, strict=True):
                watcher.get(since, headers={"If-None-Match": mark})
    note = f"each look of a watcher: {len(polled) / WATCHERS:g}"
    return Result("queries of the log page while four watch", len(asked), QUERY_LIMIT, "queries", note)
