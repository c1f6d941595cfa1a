"""Every threat that the design knows has a test named after it, in this folder, that tries it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent
#: the threats, by how the names of their tests begin
THREATS = (
    "forged_readiness_sign_off", "sign_off_with", "back_dated_record", "failed_calibration_deleted", "tail_cut",
    "old_backup_put_back", "treatment_log_lost", "patient_identity_in_export", "stolen_tablet", "lost_or_stolen_backup",
    "malicious_upload", "formula_injection", "path_traversal", "script_in_every_name", "the_page_maker_is_sent",
    "clock_set_back", "concurrent_edit", "insider_with_the_database_file", "key_theft", "key_loss",
    "scheduled_job_silently_dead", "lockout_used", "dependency_swap",
)  # fmt: skip


def named() -> list[str]:
    """Return the names of all tests in this folder but this one."""
    trees = [ast.parse(path.read_text(encoding="utf-8")) for path in FOLDER.glob("test_*.py") if path != Path(__file__)]
    return [node.name for tree in trees for node in tree.body if isinstance(node, ast.FunctionDef)]


@pytest.mark.parametrize("threat", THREATS)
def test_the_threat_has_a_test_of_its_name(threat: str) -> None:
    assert [name for name in named() if name.startswith(f"test_{threat}")]


def test_no_test_here_is_of_a_threat_that_nobody_listed() -> None:
    found = [name for name in named() if name.startswith("test_")]
    assert [name for name in found if not name.startswith(tuple(f"test_{threat}" for threat in THREATS))] == []
