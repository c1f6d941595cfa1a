"""What the tests of threats share with those of checks and of the event log, where the same is tried on PostgreSQL."""

from tests.facility.events.conftest import sqlite_store, sqlite_template
from tests.walk.conftest import evidence_dir, w

__all__ = ["evidence_dir", "sqlite_store", "sqlite_template", "w"]
