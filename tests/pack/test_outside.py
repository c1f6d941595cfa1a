"""A pack held against programs that others wrote: openssl for what is signed, a reader of tables, a reader of seals."""

from __future__ import annotations

import base64
import csv
import io
import json
import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest

from facility.pack import layout
from facility.trust import keys
from tests import openssl
from tests.pack.filling import fill
from tests.pack.kit import built, opened

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("_short_report", "folder")]


@pytest.fixture
def unpacked(tmp_path: Path) -> Path:
    """A pack of a facility with a record of every kind, unpacked."""
    return opened(built(fill().site), tmp_path / "open")


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed here")
def test_openssl_accepts_what_a_pack_signs_by_the_key_in_it_and_refuses_any_other_text(
    unpacked: Path, tmp_path: Path
) -> None:
    key = next(one["public_pem"] for one in json.loads((unpacked / layout.KEYS).read_text()) if one["use"] == "log")
    tags = (unpacked / layout.TAG_MANIFEST).read_bytes()
    signature = base64.b64decode((unpacked / layout.SIGNATURE).read_text())
    signed = layout.LABEL + b"\0" + tags
    assert openssl.accepts(tmp_path, signed, signature, key)
    assert not openssl.accepts(tmp_path, signed.replace(b"a", b"b", 1), signature, key)
    text, _blank, lines = (unpacked / layout.HEAD).read_bytes().partition(b"\n\n")
    note = base64.b64decode(lines.split()[-1])[4:]  # after the four bytes that name the key (C2SP, signed-note.md)
    assert openssl.accepts(tmp_path, text + b"\n", note, key)
    assert keys.all_public()[0].public_pem == key


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed here")
def test_the_lines_for_openssl_in_the_readme_work_as_they_stand(unpacked: Path, tmp_path: Path) -> None:
    key = next(one["public_pem"] for one in json.loads((unpacked / layout.KEYS).read_text()) if one["use"] == "log")
    (unpacked / "key.pem").write_text(key, encoding="ascii")
    words = (unpacked / layout.README).read_text(encoding="utf-8")
    lines = [
        line.strip()
        for line in words.splitlines()
        if line.startswith("    ") and ("signature" in line or "signed" in line)
    ]
    assert [line.split()[0] for line in lines[:3]] == ["(printf", "base64", "openssl"]
    script = "\n".join(lines[:3])
    assert subprocess.run(["sh", "-c", script], cwd=unpacked, capture_output=True, check=False).returncode == 0
    tags = unpacked / layout.TAG_MANIFEST
    tags.write_bytes(tags.read_bytes() + b"x")
    assert subprocess.run(["sh", "-c", script], cwd=unpacked, capture_output=True, check=False).returncode != 0


def test_a_table_reader_of_the_standard_library_finds_the_same_rows_in_both_forms(unpacked: Path) -> None:
    """RFC 4180 by ``csv``, whose reader knows nothing of how the table was written; JSON lines by ``json``."""
    seen = 0
    for path in sorted((unpacked / layout.TABLES).glob("*.jsonl")):
        rows = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
        sheet = path.with_suffix(".csv").read_bytes().decode("utf-8")
        head, *cells = csv.reader(io.StringIO(sheet, newline=""))
        assert len(cells) == len(rows), path.name
        assert all(len(row) == len(head) for row in cells), path.name
        for row, told in zip(rows, cells, strict=True):
            cell = dict(zip((name.split(" [")[0] for name in head), told, strict=True))
            assert set(cell) == set(row), path.name
            plain = {name: value for name, value in row.items() if isinstance(value, str) and value.isalnum()}
            assert plain.items() <= cell.items(), path.name
            seen += len(plain)
    assert seen > 100
