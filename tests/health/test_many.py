"""Numbers of a box with many chambers: what was kept for the organisation's page, and nothing from an old answer."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from prometheus_client.parser import text_string_to_metric_families

from facility import events
from facility.compute.fleet import SHOWN_FOR
from facility.fleet import refreshing
from facility.health import exposition, measures
from tests.fleet import build

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path
    from typing import Any

    from prometheus_client.samples import Sample

pytestmark = [pytest.mark.django_db, pytest.mark.both]
T = build.T
MOST_QUERIES = 16
"""Of the page 10, and 6 of the box itself."""


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path) -> list[datetime]:
    settings.DATA_DIR, settings.BACKUP_COPIES, settings.BACKUP_COMMAND = tmp_path, [], ""
    moment = [T]
    monkeypatch.setattr(events, "now", lambda: moment[0])
    return moment


def told(at: datetime) -> list[Sample]:
    """Return the samples as an independent reader of the format finds them (the prometheus_client library)."""
    text = exposition.written(measures.measures(at))
    return [one for family in text_string_to_metric_families(text) for one in family.samples]


def states(found: list[Sample]) -> set[str]:
    return {one.labels["state"] for one in found if one.name == "deepstead_plan_state" and one.value == 1}


def values(found: list[Sample], name: str) -> list[float]:
    return [one.value for one in found if one.name == name]


def test_of_many_chambers_the_kept_answers_are_told_and_none_outlives_its_time(clock: list[datetime]) -> None:
    number = measures.RECKONED + 1
    build.many(number)
    assert states(told(T)) == set()  # nothing was ever reckoned
    refreshing.refresh()
    found = told(T)
    assert states(found) == {"Ready"}
    assert len(values(found, "deepstead_plan_state")) == 4 * number
    # the gauge is good through 1 November 2027, 339 days after 27 November 2026 (calendar)
    assert values(found, "deepstead_chamber_next_lapse_days") == [339.0] * number
    assert values(found, "deepstead_chamber_overdue_things") == [0.0] * number
    assert values(found, "deepstead_due_days") == []
    later = told(T + SHOWN_FOR + timedelta(seconds=1))
    assert states(later) == {"Not known"}
    assert values(later, "deepstead_chamber_next_lapse_days") == []


def test_the_queries_do_not_grow_with_the_chambers() -> None:
    build.many(measures.RECKONED + 1)
    refreshing.refresh()
    with CaptureQueriesContext(connection) as caught:
        measures.measures(T)
    assert len(caught) <= MOST_QUERIES
