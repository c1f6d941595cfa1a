"""The import from the command line: what it prints and how it ends."""

from __future__ import annotations

import io
import json
import shutil
from typing import TYPE_CHECKING

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from facility.imports.kinds import KINDS
from facility.imports.templates import templates
from facility.models import Person, Site
from tests import make
from tests.imports.support import FOLDER

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.django_db


def run(*arguments: str) -> tuple[int, str]:
    """Run the command; return how it ended and what it printed."""
    out = io.StringIO()
    try:
        call_command("import_facility", *arguments, stdout=out)
    except SystemExit as end:
        return int(end.code or 0), out.getvalue()
    return 0, out.getvalue()


def test_a_good_folder_ends_with_0_and_prints_the_counts() -> None:
    code, text = run(str(FOLDER))
    assert code == 0
    assert text.startswith("All rows were taken.")
    assert Site.objects.get().key == "minnewater"


def test_a_dry_run_stores_nothing() -> None:
    code, text = run(str(FOLDER), "--dry-run")
    assert (code, text.splitlines()[0]) == (0, "Dry run: nothing was stored.")
    assert not Site.objects.exists()


def test_refused_rows_end_with_1_and_stand_in_the_json(tmp_path: Path) -> None:
    shutil.copytree(FOLDER, tmp_path / "f")
    path = tmp_path / "f" / "people.csv"
    path.write_text(path.read_text().replace("d-pell,Dov Pell", "D Pell,Dov Pell"))
    code, text = run(str(tmp_path / "f"), "--json")
    report = json.loads(text)
    assert code == 1
    assert report["refused"][0]["file"] == "people.csv"
    assert report["refused"][0]["line"] == 3
    assert report["refused"][0]["column"] == "key"
    assert report["refused"][0]["value"] == "D Pell"


def test_what_cannot_be_read_ends_with_2(tmp_path: Path) -> None:
    assert run(str(tmp_path / "nowhere"))[0] == 2
    (tmp_path / "people.csv").write_bytes(b'key,name\n"x')
    assert run(str(tmp_path))[0] == 2


def test_a_folder_without_site_goes_to_the_only_site_or_the_named_one(tmp_path: Path) -> None:
    site = make.site()
    (tmp_path / "people.csv").write_text("key,name\na-b,A B\n")
    assert run(str(tmp_path))[0] == 0
    assert Person.objects.get(key="a-b").site == site
    other = make.site()
    assert run(str(tmp_path))[0] == 1
    assert run(str(tmp_path), "--site", other.key)[0] == 0
    with pytest.raises(CommandError, match="there is no such site"):
        run(str(tmp_path), "--site", "nowhere")


def test_templates_are_written_once_and_can_be_taken_as_they_are(tmp_path: Path) -> None:
    folder = tmp_path / "templates"
    call_command("csv_templates", str(folder), stdout=io.StringIO())
    assert {path.name for path in folder.iterdir()} == {*templates(), "guide.txt"}
    with pytest.raises(CommandError, match="already holds"):
        call_command("csv_templates", str(folder), stdout=io.StringIO())
    make.site()
    (folder / "site.csv").unlink()
    assert run(str(folder))[0] == 0


def test_the_guide_tells_of_every_column(tmp_path: Path) -> None:
    call_command("csv_templates", str(tmp_path / "t"), stdout=io.StringIO())
    text = (tmp_path / "t" / "guide.txt").read_text(encoding="utf-8")
    for kind in KINDS:
        assert f"{kind.file}: " in text
        for column in kind.columns:
            assert f" {column.name}: " in text
