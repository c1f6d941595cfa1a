"""What the tests of threats share with those of checks and of the event log."""

from tests.facility.events.conftest import (
    either,
    postgres_store,
    postgres_template,
    sqlite_store,
    sqlite_template,
)
from tests.walk.conftest import evidence_dir, w

__all__ = ["either", "evidence_dir", "postgres_store", "postgres_template", "sqlite_store", "sqlite_template", "w"]
