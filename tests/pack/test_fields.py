"""The allow-list of what leaves, and a search of every byte of a pack for what must not."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest

from facility.models import Event
from facility.pack import fields
from facility.pack.released import Release
from tests.pack import pdf_text
from tests.pack.filling import Filled, fill, payloads
from tests.pack.kit import built, opened

if TYPE_CHECKING:
    from pathlib import Path

WORD = re.compile(rb"Qm\d{5}zX")


def test_every_field_of_every_record_is_classified_exactly_once() -> None:
    assert fields.faults() == []


def test_a_field_that_nobody_classified_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    from django.db import models

    from facility.models import Person

    options: Any = Person._meta
    new = models.CharField(name="nickname", max_length=10)
    new.set_attributes_from_name("nickname")
    monkeypatch.setattr(Person._meta, "local_fields", [*Person._meta.local_fields, new])
    options._expire_cache()
    try:
        assert fields.faults() == ["facility.Person.nickname is not classified"]
    finally:
        monkeypatch.undo()
        options._expire_cache()


def words_in(folder: Path) -> set[str]:
    """Return the words found in any byte, name or PDF text below a folder."""
    found: set[bytes] = set()
    for path in folder.rglob("*"):
        found |= set(WORD.findall(path.name.encode()))
        if path.is_file():
            found |= set(WORD.findall(path.read_bytes()))
        if path.suffix == ".pdf":
            found |= set(WORD.findall(pdf_text.everything(path)))
    return {word.decode() for word in found}


def may_leave(filled: Filled) -> set[str]:
    """Return the words of fields that are exported, and the reasons of records that are not personal."""
    allowed = set()
    for table in fields.tables():
        allowed |= {filled.words.get(f"{table.label}.{name}", "") for name in table.exported}
        if not table.personal:
            allowed.add(filled.reasons.get(table.label, ""))
    return allowed


def test_the_search_reads_what_a_paper_says(tmp_path: Path) -> None:
    from facility.papers import printing

    path = tmp_path / "paper.pdf"
    path.write_bytes(printing.pressed("<title>T</title><p>Qm00001zX said</p>", printing.STYLE))
    assert words_in(tmp_path) == {"Qm00001zX"}


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("_short_report")
def test_no_word_that_is_kept_back_is_in_any_byte_of_a_pack(folder: Path, tmp_path: Path) -> None:
    filled = fill()
    assert WORD.search(payloads().encode())
    found = words_in(opened(built(filled.site), tmp_path / "open"))
    assert {place for place, word in filled.words.items() if word in found - may_leave(filled)} == set()
    assert filled.words["maintenance.Defect.what"] in found
    assert filled.words["facility.Person.name"] in found
    for place in ("facility.Person.phone", "facility.Person.note", "treatments.Patient.name", "treatments.RunPlace.label",
                  "treatments.ClinicalText.text", "treatments.LogEntry.remark", "facility.Contact.phone"):  # fmt: skip
        assert filled.words[place] not in found


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("_short_report")
def test_what_is_released_one_by_one_leaves_with_its_reason_and_nothing_else_of_its_kind(
    folder: Path, tmp_path: Path
) -> None:
    filled = fill()
    drill = filled.rows["facility.Drill"]
    let_go = [Release("drills", drill.pk, "went_wrong", "Asked for in writing")]
    pack = built(filled.site, let_go)
    root = opened(pack, tmp_path / "open")
    found = words_in(root)
    assert filled.words["facility.Drill.went_wrong"] in found
    assert filled.words["facility.Drill.actions"] not in found
    assert "Asked for in writing" in (root / "data" / "released.jsonl").read_text()
    told = Event.objects.get(action="released for a pack")
    assert (told.reason, told.subject_id) == ("Asked for in writing", pack.pk)
