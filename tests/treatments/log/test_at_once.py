"""Two devices at the same moment, each with a connection of its own."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from facility import events
from facility.models import Event
from facility.record_check import verify
from tests import make
from tests.treatments.log.support import READY, Made, started
from treatments.compute.log_values import LogRefusedError
from treatments.log.services import Given, add_entry
from treatments.models import LogEntry

if TYPE_CHECKING:
    from collections.abc import Callable

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgres]
DEVICES = 6


@pytest.fixture(autouse=True)
def _a_server() -> None:
    if connection.vendor != "postgresql":
        pytest.skip("the tests' SQLite lets one connection write; two at once need the server")


def together(acts: list[Callable[[], Any]]) -> list[Any]:
    """Do all at once in a thread each; return what each got or was refused with."""
    start, results = threading.Barrier(len(acts)), []

    def run(act: Callable[[], Any]) -> None:
        try:
            start.wait()
            results.append(act())
        except (ValidationError, LogRefusedError) as error:
            results.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=[act]) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def adding(made: Made, **fields: Any) -> Callable[[], Any]:
    defaults: dict[str, Any] = {"client_id": uuid4(), "kind": "note", "remark": "ears clear", "surface": READY}
    given = Given(**defaults | fields)
    return lambda: add_entry(made.run.pk, given, site=made.site, by=make.BY)


def test_the_same_entry_sent_at_once_by_a_shaky_line_is_stored_once() -> None:
    made, _at = started()
    before, key = Event.objects.count(), uuid4()
    results = together([adding(made, client_id=key, device="phone") for _ in range(DEVICES)])
    assert LogEntry.objects.filter(client_id=key).count() == 1
    assert sorted(one.repeat for one in results) == [False] + [True] * (DEVICES - 1)
    assert {one.event for one in results} == {Event.objects.latest("seq").seq}
    assert Event.objects.count() == before + 1


def test_entries_of_several_devices_at_once_are_all_stored_and_the_chain_holds() -> None:
    made, _at = started()
    results = together([adding(made, device=f"device {number}") for number in range(DEVICES)])
    assert len({one.entry.pk for one in results}) == DEVICES
    assert verify().faults == ()
    others = [row for row in LogEntry.objects.filter(kind="note") if "beside_writer" in row.values]
    assert len(others) == DEVICES  # the phone that logged "left surface" writes


def test_only_one_of_two_devices_lets_the_run_reach_surface() -> None:
    made, _at = started()
    results = together([adding(made, kind="reached_surface", remark="") for _ in range(2)])
    assert sum(isinstance(one, ValidationError) for one in results) == 1
    assert made.fresh().ended_at is not None
    assert made.fresh().ended_at <= events.now()  # type: ignore[operator]  # not None, just seen
