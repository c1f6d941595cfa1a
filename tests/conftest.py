"""What every test shares: Hypothesis profiles, and a flush that the event triggers allow."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

import pytest
from django.test import TransactionTestCase
from hypothesis import HealthCheck, settings

if TYPE_CHECKING:
    from collections.abc import Iterator

settings.register_profile("quick", derandomize=True, max_examples=60, deadline=None)
settings.register_profile(
    "long", max_examples=2000, deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("long" if os.environ.get("DEEPSTEAD_LONG") == "1" else "quick")


@pytest.fixture(scope="session", autouse=True)
def _emptied_past_the_triggers() -> Iterator[None]:
    """Drop the event triggers before the tables are emptied after a test with real transactions.

    They would refuse it, as they must; they come back with the signal that ends the emptying.
    """
    from facility import triggers

    empty_tables = TransactionTestCase._fixture_teardown  # type: ignore[attr-defined]  # Django's own, untyped

    def fixture_teardown(case: Any) -> None:
        triggers.drop()
        empty_tables(case)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", fixture_teardown)
        yield


@pytest.fixture(autouse=True)
def _no_head_of_another_test() -> None:
    """Remove what another test with its own log left in the shared data folder: a head, and a fault that stands."""
    from django.conf import settings as project

    from facility.trust import checkpoints, faults

    for name in (checkpoints.NEWEST, faults.FILE):
        (project.DATA_DIR / name).unlink(missing_ok=True)
