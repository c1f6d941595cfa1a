"""The table of bad input in DEVELOPERS.md names tests that exist."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
#: what must have a stated behaviour, as the project set it for itself
ASKED = (
    "wrong unit", "decimal comma", "impossible date", "unknown tag", "duplicate serial", "3000 bar",
    "a person without a role", "a sheet changed meanwhile", "two signing at once", "a lost connection",
    "a clock set back",
)  # fmt: skip


def table() -> list[list[str]]:
    """Return the cells of the table's rows."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("## Bad input", 1)[1].split("\n## ", 1)[0]
    rows = [line.strip("|").split("|") for line in text.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in row] for row in rows[2:]]


def test_every_kind_of_bad_input_has_a_stated_behaviour() -> None:
    assert {row[0].lower() for row in table()} >= set(ASKED)
    assert all(len(row[1]) > 20 for row in table())


def test_every_test_that_the_table_names_exists() -> None:
    named = [found for row in table() for found in re.findall(r"`([\w/]+\.py)::(\w+)`", row[2])]
    assert len(named) >= len(ASKED)
    missing = [
        f"{path}::{test}" for path, test in named
        if not (ROOT / "tests" / path).is_file()
        or not re.search(rf"def {test}\b", (ROOT / "tests" / path).read_text("utf-8"))
    ]  # fmt: skip
    assert missing == []
