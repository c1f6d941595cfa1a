"""A zip is read with care: nothing leaves it, nothing is written to disk, nothing too large is unpacked."""

from __future__ import annotations

import io
import stat
import zipfile
from typing import TYPE_CHECKING

import pytest

from facility.imports import folder
from facility.imports.folder import UnreadableError, gathered, read_folder, read_zip

if TYPE_CHECKING:
    from pathlib import Path


def packed(*members: tuple[str | zipfile.ZipInfo, bytes]) -> bytes:
    """Return a zip of these members."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return buffer.getvalue()


def test_files_of_a_zip_are_found_in_any_folder_of_it() -> None:
    content = packed(("our facility/Site.csv", b"key\n"), ("__MACOSX/._site.csv", b"x"), ("people.csv", b"key\n"))
    assert read_zip(content) == {"site.csv": b"key\n", "people.csv": b"key\n"}


@pytest.mark.parametrize("name", ["../site.csv", "/site.csv", "a/../../site.csv", "..\\site.csv", "C:/site.csv"])
def test_a_name_that_leads_out_is_refused(name: str) -> None:
    with pytest.raises(UnreadableError, match="leads out of the zip"):
        read_zip(packed((zipfile.ZipInfo(name), b"key\n")))


def test_a_link_is_refused() -> None:
    link = zipfile.ZipInfo("site.csv")
    link.create_system = 3
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with pytest.raises(UnreadableError, match="it is a link"):
        read_zip(packed((link, b"people.csv")))


def test_a_name_that_is_there_twice_is_refused() -> None:
    with pytest.raises(UnreadableError, match="twice"):
        read_zip(packed(("a/site.csv", b"key\n"), ("b/SITE.CSV", b"key\n")))
    with pytest.raises(UnreadableError, match="twice"):
        gathered([("site.csv", b"key\n"), ("all.zip", packed(("site.csv", b"key\n")))])


def test_a_zip_inside_a_zip_is_refused() -> None:
    with pytest.raises(UnreadableError, match="another zip"):
        read_zip(packed(("inner.zip", packed(("site.csv", b"key\n")))))


def test_what_unpacks_to_far_too_much_is_refused() -> None:
    with pytest.raises(UnreadableError, match="far more than any table does"):
        read_zip(packed(("site.csv", b"\0" * 5_000_000)))


def test_a_size_that_the_zip_lies_about_is_not_unpacked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder, "MOST_BYTES", 1000)
    content = bytearray(packed(("site.csv", bytes(range(256)) * 8)))
    directory = content.rindex(b"PK\x01\x02")
    content[directory + 24 : directory + 28] = (10).to_bytes(4, "little")
    with pytest.raises(UnreadableError):
        read_zip(bytes(content))


def test_an_encrypted_member_is_refused() -> None:
    content = bytearray(packed(("site.csv", b"key\n")))
    directory = content.rindex(b"PK\x01\x02")
    content[directory + 8] |= 1
    with pytest.raises(UnreadableError, match="encrypted"):
        read_zip(bytes(content))


@pytest.mark.parametrize(
    "content", [b"", b"PK\x03\x04", packed(("site.csv", b"key\n"))[:-30]], ids=["empty", "only a head", "cut off"]
)
def test_a_broken_zip_is_refused(content: bytes) -> None:
    with pytest.raises(UnreadableError, match="cannot be read"):
        read_zip(content)


def test_too_many_files_and_bytes_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(UnreadableError, match="61 files"):
        gathered((f"{number}.csv", b"key\n") for number in range(61))
    monkeypatch.setattr(folder, "MOST_BYTES", 7)
    with pytest.raises(UnreadableError, match="8 bytes are more than the 7"):
        gathered([("site.csv", b"key\n"), ("people.csv", b"key\n")])


def test_a_folder_gives_its_csv_files_only(tmp_path: Path) -> None:
    (tmp_path / "Site.CSV").write_bytes(b"key\n")
    (tmp_path / "notes.txt").write_bytes(b"x")
    assert read_folder(tmp_path) == {"site.csv": b"key\n"}
    with pytest.raises(UnreadableError, match="is no folder"):
        read_folder(tmp_path / "nowhere")
