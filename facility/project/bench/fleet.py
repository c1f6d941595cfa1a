"""The organisation's page over a thousand chambers: its queries and its time.

Limits: design goals of this project; common practice, no source. Rows are as a month of records leaves them; the
answers were kept before, as the job does.
"""

from __future__ import annotations

from contextlib import contextmanager
from http import HTTPStatus
from typing import TYPE_CHECKING
from unittest.mock import patch

from django.contrib.auth import get_user_model
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from facility import events
from facility.fleet.refreshing import refresh
from facility.project.bench.readiness import MANY, SMALL, seconds
from facility.project.bench.result import Result
from facility.project.bench.scratch import AT, facilities, scratch_database

if TYPE_CHECKING:
    from collections.abc import Iterator

QUERY_LIMIT, PAGE_LIMIT_MS = 12.0, 300.0
STATES = {"": "kept", "?table=Table+3": "a table looked for"}
TIMES = 7
FEWER = 150
"""Enough for a second page; the number of queries does not grow, and the time is measured over all."""


def queries(number: int = FEWER) -> Result:
    """Queries of the page: with all answers kept, with a few to be reckoned now, and with too many for that."""
    with scratch_database(), _kept(number) as (client, sites):
        counted = [_counted(client)]
        for few in (sites[:3], sites[3:20]):
            _something_recorded(few)
            counted.append(_counted(client))
    note = f"all kept {counted[0]}, few old {counted[1]}, many old {counted[2]}"
    return Result("queries of the organisation's page", max(counted), QUERY_LIMIT, "queries", note)


def page(number: int = MANY) -> Result:
    """The page with all answers kept, without and with a table looked for; the slower of the two counts."""
    with scratch_database(), _kept(number) as (client, _sites):
        asked = _counted(client)
        taken = seconds([lambda query=query: _page(client, query) for query in STATES], TIMES)  # type: ignore[misc]  # a default is no argument
    note = ", ".join(f"{words} {1000 * one:.0f} ms" for words, one in zip(STATES.values(), taken, strict=True))
    note += f", {asked} queries"
    return Result("organisation's page over 1000 chambers", 1000 * max(taken), PAGE_LIMIT_MS, "ms", note)


@contextmanager
def _kept(number: int) -> Iterator[tuple[Client, list[str]]]:
    """Store facilities with an event each and keep their answers; yield a client that sees them, and their keys."""
    with patch.object(events, "now", lambda: AT):
        sites = [chamber.site.key for chamber in facilities(number, SMALL)]
        _something_recorded(sites)
        refresh()
        user = get_user_model()._default_manager.create(username="bench", is_superuser=True)
        client = Client(headers={"host": "localhost"})
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        yield client, sites


def _something_recorded(sites: list[str]) -> None:
    with transaction.atomic():
        for key in sites:
            events.record(None, events.What("noted", site_key=key), by=events.system("bench"))


def _counted(client: Client) -> int:
    with CaptureQueriesContext(connection) as asked:
        _page(client, "")
    return len(asked)


def _page(client: Client, query: str) -> None:
    answer = client.get(f"/organisation/{query}")
    if answer.status_code != HTTPStatus.OK:
        raise RuntimeError(f"The page answered {answer.status_code}.")
