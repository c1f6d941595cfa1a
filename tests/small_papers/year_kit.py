"""What the tests of a year's figures share: a clock that is set, runs, and figures by part and label."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from facility import events, services
from facility.models import Site
from facility.small_papers.year import Year
from facility.small_papers.year_paper import parts_of
from tests import make
from tests.treatments.test_runs import plan_of
from treatments.models import Run

#: each day that is asked about is over by then
LATER = datetime(2030, 1, 1, tzinfo=UTC)


class Clock:
    """The server's clock in a test: what is stored is recorded at the time it shows."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.at = datetime(2026, 1, 2, 8, 0, tzinfo=UTC)
        monkeypatch.setattr(events, "now", lambda: self.at)

    def is_now(self, *when: int) -> datetime:
        """Set the clock."""
        self.at = datetime(*when, tzinfo=UTC)  # type: ignore[misc,arg-type]
        return self.at


@pytest.fixture(name="clock")
def a_clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Return a clock at 2 January 2026, eight o'clock UTC."""
    return Clock(monkeypatch)


@pytest.fixture(name="site")
def a_site(clock: Clock) -> Site:
    """Return a site in Oslo with one chamber."""
    site = make.site(zone="Europe/Oslo")
    make.chamber(site)
    return site


def ran(site: Site, number: int, start: datetime, minutes: int, purpose: str = "treatment", plan: Any = None) -> Run:
    """Return a stored run that has ended."""
    chamber = site.chambers.get()
    made = plan or plan_of(chamber, key=f"plan-{number}", name=f"Table {number}")
    end = start + timedelta(minutes=minutes)
    return services.add(
        Run(chamber=chamber, number=number, purpose=purpose, plan=made, started_at=start, ended_at=end, planned_end_at=end, supervisor="Ina"),
        by=make.BY,
    )  # fmt: skip


def figures(site: Site, year: int, known_on: date, *, outside: bool = False) -> dict[tuple[str, str], Any]:
    """Return every figure by part and label."""
    parts = parts_of(Year(site, year, known_on, LATER), outside=outside)
    return {(one.part, one.label): one for part in parts for one in part.figures}


def values(site: Site, known_on: date, part: str, *labels: str) -> list[str]:
    """Return values of figures of 2026 as known on a day."""
    found = figures(site, 2026, known_on)
    return [found[part, label].value for label in labels]
