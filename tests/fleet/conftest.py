"""A clock that a test sets, and a small organisation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from facility import events
from tests.fleet import build

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Chamber


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[datetime]:
    """The clock, at the instant of the worked example until a test sets it."""
    moment = [build.T]
    monkeypatch.setattr(events, "now", lambda: moment[0])
    return moment


@pytest.fixture
def chambers(clock: list[datetime]) -> list[Chamber]:
    """Three sites of one organisation, a chamber each."""
    return build.three()
