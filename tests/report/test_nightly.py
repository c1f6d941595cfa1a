"""The nightly job presses each closed month once."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from facility import events
from facility.models import Volume
from facility.report import nightly
from tests import make

pytestmark = pytest.mark.django_db


def test_closed_months_are_made_once_and_the_running_one_is_left(
    settings: Any, tmp_path: Any, monkeypatch: Any
) -> None:
    settings.DATA_DIR = tmp_path
    site = make.site()
    make.work(make.rule(make.equipment(site)), datetime(2026, 1, 9, tzinfo=UTC).date())
    monkeypatch.setattr(events, "now", lambda: datetime(2026, 3, 12, tzinfo=UTC))
    assert nightly.render(lambda _words: None) == "2 volumes of months made, 0 there already."
    assert sorted(Volume.objects.values_list("month", flat=True)) == ["2026-01", "2026-02"]
    assert nightly.render(lambda _words: None) == "0 volumes of months made, 2 there already."
