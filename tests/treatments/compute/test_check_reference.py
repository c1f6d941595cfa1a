"""The check of reference files reaches the tables: a number without unit, source or standing fails it."""

from __future__ import annotations

from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

GOOD = {
    "value": "[60, 60, 20, 'O2']",
    "unit": "'fsw, fsw, min, gas'",
    "meaning": "'stop'",
    "source": "'usn-rev4a'",
    "where": "'figure'",
    "standing": "'memory'",
}


def written(folder: Path, fields: dict[str, str], project: Path) -> None:
    (folder / "maintenance").symlink_to(project / "maintenance")
    place = folder / "treatments" / "reference" / "tables"
    place.mkdir(parents=True)
    lines = "\n".join(f"{name} = {value}" for name, value in fields.items())
    (place / "own.toml").write_text(f"[segments.01]\n{lines}\n", encoding="utf-8")


def test_a_whole_entry_of_a_table_passes(tmp_path: Path, settings: Any) -> None:
    written(tmp_path, GOOD, settings.BASE_DIR)
    settings.BASE_DIR = tmp_path
    out = StringIO()
    call_command("check_reference", stdout=out)
    assert "own.toml: 1 values, 1 from memory" in out.getvalue()


@pytest.mark.parametrize("missing", ["unit", "source", "standing", "where", "meaning"])
def test_a_number_of_a_table_that_nobody_could_check_fails(tmp_path: Path, settings: Any, missing: str) -> None:
    written(tmp_path, {name: value for name, value in GOOD.items() if name != missing}, settings.BASE_DIR)
    settings.BASE_DIR = tmp_path
    with pytest.raises(CommandError, match=rf"own.toml: segments.01: {missing} missing"):
        call_command("check_reference", stdout=StringIO())
