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
from tests import make
from tests.facility.readiness_db import build as rows
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


def test_a_chamber_that_was_never_reckoned_is_not_known_and_never_missing(clock: list[datetime]) -> None:
    number = measures.RECKONED + 1
    made = build.many(number)
    bare = make.chamber(made[0].site, key="new", name="New")  # no plan is in force for it
    for _scrape in range(2):
        found = told(T)
        assert states(found) == {"Not known"}
        assert len(values(found, "deepstead_plan_state")) == 4 * number
        said = [one for one in found if one.name == "deepstead_chamber_state" and one.value == 1]
        assert {(one.labels["site"], one.labels["chamber"]) for one in said} == {
            (one.site.key, one.key) for one in [*made, bare]
        }
        assert {one.labels["state"] for one in said} == {"Not known"}
        assert values(found, "deepstead_chamber_overdue_things") == []


def test_a_plan_that_came_into_force_since_is_not_known_with_the_others(clock: list[datetime]) -> None:
    made = build.many(measures.RECKONED + 1)
    refreshing.refresh()
    for chamber in made[:6]:  # more than a page reckons by itself
        rows.plan(chamber, "new", margin_min=0)
    said = [one for one in told(T) if one.name == "deepstead_plan_state" and one.value == 1]
    words = {one.labels["state"] for one in said if one.labels["site"] == made[0].site.key}
    plans = {one.labels["plan"] for one in said if one.labels["site"] == made[0].site.key}
    assert (plans, words) == ({"tt6", "new"}, {"Not known"})
    assert {one.labels["state"] for one in said if one.labels["site"] == made[-1].site.key} == {"Ready"}


def test_few_chambers_have_their_word_too(clock: list[datetime]) -> None:
    site = build.three()[0].site
    make.chamber(site, key="new", name="New")
    said = [one.labels for one in told(T) if one.name == "deepstead_chamber_state" and one.value == 1]
    found = {(one["site"], one["chamber"]): one["state"] for one in said}
    assert found.pop((site.key, "new")) == "Not known"
    assert set(found.values()) == {"Ready"}
    assert len(found) == 3


def test_the_queries_do_not_grow_with_the_chambers() -> None:
    build.many(measures.RECKONED + 1)
    refreshing.refresh()
    with CaptureQueriesContext(connection) as caught:
        measures.measures(T)
    assert len(caught) <= MOST_QUERIES
    with CaptureQueriesContext(connection) as caught:
        measures.measures(T + SHOWN_FOR)
    assert len(caught) <= MOST_QUERIES + 1  # the plans of those that are not known
