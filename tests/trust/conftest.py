"""What tests of trust share: a data folder of their own, a head made to its end, and a way past the triggers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from django.db import connection

from facility import triggers
from facility.trust import checkpoints

if TYPE_CHECKING:
    from facility.models import Checkpoint


@pytest.fixture
def folder(settings: Any, tmp_path: Path) -> Path:
    """The data folder of the running installation, empty, with no copies elsewhere."""
    path = tmp_path / "running"
    path.mkdir()
    settings.DATA_DIR, settings.BACKUP_COPIES, settings.BACKUP_COMMAND = path, [], ""
    checkpoints.forget()
    return path


@pytest.fixture
def signed(django_capture_on_commit_callbacks: Any) -> Any:
    """Return what makes a head to its end, as outside a test's own transaction."""

    def make_one(why: str = "test") -> Checkpoint:
        with django_capture_on_commit_callbacks(execute=True):
            return checkpoints.make(why)

    return make_one


@pytest.fixture
def tampering() -> Any:
    """Return what changes the log as somebody with the database file would: past the triggers."""

    def change(sql: str, *values: int | bytes) -> None:
        triggers.drop()
        with connection.cursor() as cursor:
            cursor.execute(sql, values)
        triggers.ensure()

    return change
