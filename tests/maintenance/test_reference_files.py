"""``manage.py check_reference`` on the files of upkeep: sourced values and whole documents."""

from __future__ import annotations

import io

import pytest
from django.core.management import CommandError, call_command

from facility.management.commands import check_reference
from maintenance.reference import DOCUMENTS, FOLDER
from tests.maintenance.compute.test_requirements import GOOD


def checked() -> str:
    out = io.StringIO()
    call_command("check_reference", stdout=out)
    return out.getvalue()


def test_every_file_of_upkeep_is_checked_once() -> None:
    lines = checked().splitlines()
    for path in FOLDER.glob("*.toml"):
        kind = "entries" if path.name in DOCUMENTS else "values"
        assert len([line for line in lines if line.startswith(f"{path.name}: ") and kind in line]) == 1


def test_a_document_that_nobody_could_check_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    parse = DOCUMENTS["requirements.toml"]
    broken = {"requirements.toml": lambda _text, sources: parse(GOOD, sources)}
    monkeypatch.setattr(check_reference, "DOCUMENTS", broken)
    with pytest.raises(CommandError, match="requirements.toml: A: source 's' is not in sources.toml"):
        checked()
