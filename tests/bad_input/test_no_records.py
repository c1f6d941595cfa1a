"""A command on a data folder that nobody has set up: one sentence with what to do, no trace of the program."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run a command of manage.py on a data folder."""
    own = {key: value for key, value in os.environ.items() if not key.startswith(("DEEPSTEAD", "DJANGO"))}
    return subprocess.run(
        [sys.executable, "manage.py", *words], cwd=ROOT, env=own | {"DEEPSTEAD_DATA": str(folder)},
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


@pytest.mark.parametrize("words", [("readiness", "--list"), ("import_facility", "."), ("load_demo",)])
def test_a_folder_without_records_is_named_with_what_to_do(tmp_path: Path, words: tuple[str, ...]) -> None:
    done = run(tmp_path, *words)
    assert done.returncode == 2, done.stdout
    assert str(tmp_path) in done.stderr
    assert "up --no-serve" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_file_of_facts_needs_no_folder_at_all(tmp_path: Path) -> None:
    done = run(tmp_path, "readiness", "--facts", str(tmp_path / "none.json"), "--at", "2026-03-12T03:00Z")
    assert done.returncode == 2
    assert "none.json" in done.stderr
    assert "up --no-serve" not in done.stderr
