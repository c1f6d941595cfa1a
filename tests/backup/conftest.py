"""Data folders of their own for the tests of backups."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def folder(tmp_path: Path, settings: Any) -> Path:
    """The data folder of the running installation, empty."""
    path = tmp_path / "running"
    path.mkdir()
    settings.DATA_DIR = path
    settings.EVIDENCE_DIR = path / "evidence"
    settings.BACKUP_COPIES = []
    settings.BACKUP_COMMAND = ""
    settings.DEMO = False
    return path
