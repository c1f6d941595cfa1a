"""The worked example, from rows: the times as reckoned by hand."""

from __future__ import annotations

import pytest

from facility.compute.instants import format_instant, instant_of
from facility.compute.readiness import evaluate
from facility.readiness.gather import gather
from tests.facility.readiness_db import build

pytestmark = pytest.mark.django_db


def test_it_is_ready_until_1722_limited_by_inner_lock_depth() -> None:
    chamber = build.worked_example()
    (facts,) = gather([chamber], build.T).values()
    answer = evaluate(facts, instant_of(build.T))["tt6"]
    assert (answer.state, answer.duration_min) == ("Ready", 518)
    assert answer.holds_until is not None
    assert format_instant(answer.holds_until) == "2026-11-27T17:22Z"
    assert answer.limiting == ("inner-lock-depth",)
