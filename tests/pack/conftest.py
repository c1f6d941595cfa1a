"""Packs are built in data folders of their own. The report is a stand-in here: its own tests are elsewhere."""

from __future__ import annotations

import sys
import types
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pytest

import facility.report
from tests.walk.pictures import pdf

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True)
class Volume:
    """What the report hands over."""

    name: str
    path: Path
    sha256: str
    pages: int


@pytest.fixture
def folder(tmp_path: Path, settings: Any) -> Path:
    """The data folder of the running installation, empty."""
    path = tmp_path / "running"
    path.mkdir()
    settings.DATA_DIR = path
    settings.EVIDENCE_DIR = path / "evidence"
    return path


@pytest.fixture
def _short_report(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A report of one empty page, made at once."""
    path = tmp_path / "volume.pdf"
    path.write_bytes(pdf())
    stand_in = types.ModuleType("facility.report.build")
    stand_in.Scope = types.SimpleNamespace  # type: ignore[attr-defined]  # a stand-in
    stand_in.told = lambda _wanted, *, tell: None  # type: ignore[attr-defined]  # as above
    stand_in.pressed = lambda _told, *, tell: [Volume("report-1-summary.pdf", path, "0" * 64, 1)]  # type: ignore[attr-defined]  # as above
    monkeypatch.setitem(sys.modules, "facility.report.build", stand_in)
    monkeypatch.setattr(facility.report, "build", stand_in, raising=False)
