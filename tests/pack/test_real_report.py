"""A search of every byte of a pack with its real report, each volume's text among it, for what must not leave."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from typing import TYPE_CHECKING

import pikepdf
import pytest

from facility import events
from facility.models import Volume
from facility.pack import layout
from tests import make
from tests.pack import pdf_text
from tests.pack.filling import Filled, fill
from tests.pack.kit import built, opened
from tests.pack.test_fields import WORD, may_leave, words_in

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("folder", "_that_day")]


@pytest.fixture
def _that_day(monkeypatch: pytest.MonkeyPatch) -> None:
    """The day on which everything is entered and the pack is made: the one on which it happened, so one month is told."""
    monkeypatch.setattr(events, "now", lambda: make.NOON + timedelta(hours=3))


def _built(filled: Filled, target: Path) -> Path:
    day = make.NOON.date()
    return opened(built(filled.site, from_day=day.replace(day=1), to_day=day), target)


def _words_of_papers(root: Path) -> set[str]:
    """Return the words in the volumes alone; a word may go over the end of a line in a narrow cell."""
    found: set[bytes] = set()
    for path in (root / layout.DATA).glob("report-*.pdf"):
        text = pdf_text.everything(path)
        found |= set(WORD.findall(text)) | set(WORD.findall(re.sub(rb"\s+", b"", text)))
    return {word.decode() for word in found}


def _kept_back(filled: Filled, found: set[str]) -> set[str]:
    return {place for place, word in filled.words.items() if word in found - may_leave(filled)}


def test_no_word_that_is_kept_back_is_in_any_byte_of_a_pack_with_its_whole_report(tmp_path: Path) -> None:
    filled = fill()
    root = _built(filled, tmp_path / "open")
    papers = _words_of_papers(root)
    assert _kept_back(filled, papers | words_in(root)) == set()
    assert filled.words["maintenance.Defect.what"] in papers  # the search sees what the report says
    assert filled.words["facility.Person.name"] in papers
    names = {volume["name"] for volume in json.loads((root / layout.ABOUT).read_text())["report"]}
    assert names == {path.name for path in (root / layout.DATA).glob("report-*.pdf")}


def test_a_volume_names_a_run_by_its_number_alone_and_says_of_people_nothing_outside_its_text(tmp_path: Path) -> None:
    filled = fill()
    root = _built(filled, tmp_path / "open")
    shared = {row.file_sha256 for row in Volume.objects.all()}
    told = json.loads((root / layout.ABOUT).read_text())
    assert {one["name"] for one in told["report"] if one["sha256"] in shared} > {"report-2-plant.pdf"}
    for one in told["report"]:
        path = root / layout.DATA / one["name"]
        text = re.sub(rb"\s+", b"", pdf_text.everything(path))
        assert not re.search(rb"\bP-0\d\d\b", text), one["name"]  # the names that hold in one pack begin so
        assert filled.words["treatments.RunPlace.label"].encode() not in text
        with pikepdf.open(path) as document:
            outside = str(dict(document.docinfo.items())) + document.Root.Metadata.read_bytes().decode()
        assert filled.words["facility.Person.name"] not in outside
        assert filled.site.name in outside
