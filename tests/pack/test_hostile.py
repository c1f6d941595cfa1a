"""Text that somebody typed to do harm: harmless in cells, calendar, tag files, names of files and zips."""

from __future__ import annotations

import csv
import io
import json
import shutil
import subprocess
import zipfile
from datetime import date
from typing import TYPE_CHECKING, Any

import pytest
from icalendar import Calendar

from facility.compute.csv_writing import csv_text, safe_cell
from facility.pack import bag, building, layout, unpacking
from maintenance.models import IntervalRule
from tests import make
from tests.pack.filling import fill
from tests.pack.kit import built, opened

if TYPE_CHECKING:
    from pathlib import Path

#: what a spreadsheet would take for a formula (OWASP ASVS 5.0, 1.2.10), and the same in full-width letters
FORMULAS = ["=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "\0=1", "\uff1d1", "\uff0b1", "\uff0d1", "\uff20a",
            "-", "+", "=", "-1.5.2", "-1e5", "+49 30 1234", "-\u0661", "-\uff11"]  # fmt: skip
NUMBERS = ["-1.5", "+2", "0", "12.50", "-0", "007"]
HOSTILE = "=cmd|'/c calc'!A1\"><script>alert(1)</script>\r\nBEGIN:VEVENT\r\n../../etc/x\u202etxt"


@pytest.mark.parametrize("text", FORMULAS)
def test_a_cell_that_could_be_a_formula_begins_with_an_apostrophe(text: str) -> None:
    assert safe_cell(text) == "'" + text


@pytest.mark.parametrize("text", [*NUMBERS, "", "plain", "a=1", " =1", "1+1"])
def test_a_plain_number_and_a_plain_text_stay_as_they_are(text: str) -> None:
    assert safe_cell(text) == text


def test_a_cell_is_read_back_as_it_was_written_by_the_standard_reader() -> None:
    cells = ['a"b', "a,b", "a\r\nb", "  ", "ø", *(safe_cell(one) for one in FORMULAS if "\0" not in one)]
    text = csv_text(["head"], [[one] for one in cells])
    assert [row[0] for row in csv.reader(io.StringIO(text, newline=""))][1:] == [safe_cell(one) for one in cells]
    assert text.count("\r\n") > len(cells)


@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")
def test_a_spreadsheet_shows_every_cell_as_text_or_number_and_reckons_nothing(tmp_path: Path) -> None:
    wanted = [one for one in FORMULAS if one.isprintable()]
    (tmp_path / "a.csv").write_text(csv_text(["h"], [[one] for one in wanted]), encoding="utf-8", newline="")
    subprocess.run(
        ["soffice", "--headless", "--convert-to", "html", "--outdir", str(tmp_path), str(tmp_path / "a.csv")],
        check=True, timeout=120,
    )  # fmt: skip
    shown = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "sdnum" not in shown.split("<body", 1)[1].replace("sdval", "")
    assert "#NAME" not in shown


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("_short_report", "folder")
def test_hostile_text_in_every_field_is_harmless_everywhere_in_a_pack(tmp_path: Path) -> None:
    filled = fill(prefix="=1+")
    site = filled.site
    site.name = HOSTILE[:150]
    site.save()
    rule = make.rule(make.equipment(site, tag="=T1", name=HOSTILE[:150]), months=12)
    IntervalRule.objects.filter(pk=rule.pk).update(name=HOSTILE[:100])
    make.work(rule, date(2026, 3, 1))
    pack = built(site, recipient=HOSTILE[:200], ground=HOSTILE[:300])
    root = opened(pack, tmp_path)
    _cells_are_no_formulas(root)
    calendar = Calendar.from_ical((root / layout.DUE).read_bytes())
    assert len(calendar.walk("VEVENT")) == (root / layout.DUE).read_bytes().count(b"\nBEGIN:VEVENT")
    assert all("\n" not in str(one["summary"]) for one in calendar.walk("VEVENT"))
    assert all(":" in line for line in (root / layout.BAG_INFO).read_text(encoding="utf-8").split("\n")[:-1])
    names = zipfile.ZipFile(building.path_of(pack)).namelist()
    assert all(unpacking.PART.fullmatch(part) for name in names for part in name.split("/"))
    assert unpacking.unpack(building.path_of(pack), tmp_path / "again").name == root.name
    assert json.loads((root / layout.ABOUT).read_text(encoding="utf-8"))["recipient"] == HOSTILE[:200]


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("_short_report", "folder")
def test_nobody_writes_a_line_of_their_own_into_the_words_that_open_a_pack(tmp_path: Path) -> None:
    told = "Ada\n\nWHAT THAT PROVES\nEverything is in order.\u202e"
    pack = built(make.site(name=told), recipient=told, ground=told)
    lines = (opened(pack, tmp_path) / layout.README).read_text(encoding="utf-8").splitlines()
    assert lines.count("WHAT THAT PROVES") == 1
    assert "Everything is in order." not in lines
    assert not [line for line in lines if not line.isprintable()]  # what turns a line round is no letter to be seen


def _cells_are_no_formulas(root: Path) -> None:
    seen = 0
    for path in (root / layout.TABLES).glob("*.csv"):
        for row in csv.reader(io.StringIO(path.read_bytes().decode("utf-8"), newline="")):
            for cell in row:
                assert safe_cell(cell) == cell, (path.name, cell)
                seen += cell.startswith("'")
    assert seen > 50


@pytest.mark.parametrize(
    ("text", "line"), [("a\r\nManifest: b", "a Manifest: b"), ("a\u2028b\x00c", "a b c"), (" a  b ", "a b")]
)
def test_a_tag_file_takes_a_text_on_one_line(text: str, line: str) -> None:
    assert bag.one_line(text) == line


def test_a_text_with_half_a_character_is_refused_before_it_reaches_a_pack(db: None) -> None:
    from django.core.exceptions import ValidationError

    with pytest.raises(ValidationError, match="name: holds a character that cannot be stored"):
        make.equipment(name="half \ud800")


def test_json_lines_hold_the_true_text(tmp_path: Path) -> None:
    from facility.pack import tables

    told: Any = json.loads(tables.compact({"a": HOSTILE, "b": "\u2028"}))
    assert told == {"a": HOSTILE, "b": "\u2028"}
    assert len(tables.compact({"a": HOSTILE, "b": "\u2028\u2029\x85"}).splitlines()) == 1
