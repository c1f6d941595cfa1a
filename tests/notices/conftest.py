"""The clock of these tests: it stands at the instant of the worked example until a test moves it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from facility import events
from tests.facility.readiness_db import build

if TYPE_CHECKING:
    from datetime import datetime


@dataclass
class Clock:
    """A clock that tests move."""

    now: datetime

    def pass_by(self, **span: float) -> datetime:
        """Let time pass and return the new instant."""
        self.now += timedelta(**span)
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Return the clock that every service reads."""
    made = Clock(build.T)
    monkeypatch.setattr(events, "now", lambda: made.now)
    return made
