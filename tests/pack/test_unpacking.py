"""Zips that somebody made to do harm: refused by name, and nothing is written outside."""

from __future__ import annotations

import io
import stat
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from facility.pack.unpacking import ArchiveRefusedError, Limits, unpack

if TYPE_CHECKING:
    from collections.abc import Callable

Member = tuple[str | zipfile.ZipInfo, bytes]


def made(path: Path, *members: Member, how: int = zipfile.ZIP_DEFLATED) -> Path:
    """Write a zip with these members, in this order."""
    with zipfile.ZipFile(path, "w", how) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return path


def raw_name(name: str) -> zipfile.ZipInfo:
    """Return a member whose name the library does not put right."""
    told = zipfile.ZipInfo("x")
    told.filename = name
    return told


def link(name: str, sort: int = stat.S_IFLNK) -> zipfile.ZipInfo:
    """Return a member that says it is a link, or another thing that is no file."""
    told = zipfile.ZipInfo(name)
    told.create_system = 3
    told.external_attr = (sort | 0o777) << 16
    return told


@pytest.mark.parametrize(
    "name",
    ["pack/../../out.txt", "../out.txt", "pack/./a", "pack//a", "/etc/out", "//host/share", "C:/out.txt", "C:out.txt",
     "pack\\..\\out.txt", "\\\\host\\share\\out", "pack/a:stream", "pack/..", "pack/a\x00.txt", "pack/a\n.txt",
     "pack/naïve.txt", "pack/" + "a" * 300, "pack/ a", "."],
)  # fmt: skip
def test_a_name_that_leads_out_or_that_no_pack_uses_is_refused(name: str, tmp_path: Path) -> None:
    target = tmp_path / "target"
    target.mkdir()
    with pytest.raises(ArchiveRefusedError, match=r"is refused|is no zip|at its top"):
        unpack(made(tmp_path / "a.zip", ("pack/ok.txt", b"1"), (raw_name(name), b"out")), target)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.zip", "target"]
    assert not [path for path in target.rglob("*") if path.read_bytes() == b"out"]


@pytest.mark.parametrize("sort", [stat.S_IFLNK, stat.S_IFCHR, stat.S_IFIFO, stat.S_IFSOCK, stat.S_IFBLK])
def test_a_link_or_a_device_is_refused_by_name(sort: int, tmp_path: Path) -> None:
    path = made(tmp_path / "a.zip", ("pack/ok.txt", b"1"), (link("pack/link", sort), b"/etc/hostname"))
    with pytest.raises(ArchiveRefusedError, match=r"pack/link.*link or a device"):
        unpack(path, tmp_path / "target")


@pytest.mark.filterwarnings("ignore:Duplicate name")
@pytest.mark.parametrize(("one", "other"), [("pack/a", "pack/a"), ("pack/a", "pack/A"), ("pack/a", "pack/a/b")])
def test_a_member_that_is_there_twice_is_refused(one: str, other: str, tmp_path: Path) -> None:
    path = made(tmp_path / "a.zip", (one, b"1"), (other, b"2"))
    with pytest.raises(ArchiveRefusedError, match=r"twice|a file itself"):
        unpack(path, tmp_path / "target")


def test_what_unpacks_to_much_more_than_its_size_is_refused_before_it_is_opened(tmp_path: Path) -> None:
    bomb = made(tmp_path / "a.zip", ("pack/zeros", bytes(40 * 1024 * 1024)))
    with pytest.raises(ArchiveRefusedError, match=r"pack/zeros.*as a bomb does"):
        unpack(bomb, tmp_path / "target")
    with pytest.raises(ArchiveRefusedError, match="Unpacked it would be 40 MiB; 1 at most"):
        unpack(bomb, tmp_path / "target", Limits(unpacked=1024 * 1024))
    many = made(tmp_path / "b.zip", *((f"pack/{number}", b"") for number in range(30)))
    with pytest.raises(ArchiveRefusedError, match="30 members; 20 at most"):
        unpack(many, tmp_path / "target", Limits(members=20))
    assert not (tmp_path / "target").exists()


def test_a_member_that_says_it_is_shorter_than_it_is_does_not_fill_the_disk(tmp_path: Path) -> None:
    raw = bytearray(made(tmp_path / "a.zip", ("pack/long", b"x" * 5000)).read_bytes())
    for mark, place in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):  # sizes in the two heads (APPNOTE 4.3.7, 4.3.12)
        at = raw.index(mark) + place
        raw[at : at + 4] = (10).to_bytes(4, "little")
    (tmp_path / "a.zip").write_bytes(raw)
    with pytest.raises(ArchiveRefusedError, match="pack/long"):
        unpack(tmp_path / "a.zip", tmp_path / "target")
    assert (tmp_path / "target" / "pack" / "long").stat().st_size <= 10


def _cut(raw: bytes) -> bytes:
    return raw[:-30]


def _flip(raw: bytes) -> bytes:
    at = raw.index(b"HELLO")
    return raw[:at] + b"J" + raw[at + 1 :]


def _no_zip(raw: bytes) -> bytes:
    return b"%PDF-1.7" + raw[:20]


def _no_text(raw: bytes) -> bytes:
    """Break a name that is said to be UTF-8 (APPNOTE 4.4.4, bit 11) by a byte that UTF-8 knows not."""
    at = raw.index(b"PK\x01\x02")
    flagged = raw[: at + 9] + b"\x08" + raw[at + 10 :]
    return flagged[: at + 46] + b"\xff" + flagged[at + 47 :]


@pytest.mark.parametrize("harm", [_cut, _flip, _no_zip, _no_text, lambda _raw: b"", lambda raw: raw[:4]])
def test_a_damaged_file_is_refused_in_words(harm: Callable[[bytes], bytes], tmp_path: Path) -> None:
    path = made(tmp_path / "a.zip", ("pack/a", b"HELLO" * 9), how=zipfile.ZIP_STORED)
    path.write_bytes(harm(path.read_bytes()))
    with pytest.raises(ArchiveRefusedError, match=r"no zip that can be read|is damaged"):
        unpack(path, tmp_path / "target")


def test_encrypted_members_other_packings_and_more_than_one_folder_are_refused(tmp_path: Path) -> None:
    raw = bytearray(made(tmp_path / "a.zip", ("pack/a", b"1")).read_bytes())
    for mark, place in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        raw[raw.index(mark) + place] |= 1
    (tmp_path / "a.zip").write_bytes(raw)
    with pytest.raises(ArchiveRefusedError, match="encrypted"):
        unpack(tmp_path / "a.zip", tmp_path / "target")
    with pytest.raises(ArchiveRefusedError, match="packed in a way"):
        unpack(made(tmp_path / "b.zip", ("pack/a", b"1"), how=zipfile.ZIP_BZIP2), tmp_path / "target")
    with pytest.raises(ArchiveRefusedError, match="one folder"):
        unpack(made(tmp_path / "c.zip", ("pack/a", b"1"), ("other/a", b"1")), tmp_path / "target")
    with pytest.raises(ArchiveRefusedError, match="empty"):
        unpack(made(tmp_path / "d.zip"), tmp_path / "target")


def test_a_good_zip_is_opened_as_it_is(tmp_path: Path) -> None:
    target = tmp_path / "target"
    found = unpack(made(tmp_path / "a.zip", ("pack/", b""), ("pack/data/a.txt", b"one"), ("pack/b", b"")), target)
    assert found == target / "pack"
    assert (found / "data" / "a.txt").read_bytes() == b"one"
    assert (found / "b").read_bytes() == b""


def test_a_zip_in_a_zip_is_a_file_like_any_other(tmp_path: Path) -> None:
    inner = io.BytesIO()
    with zipfile.ZipFile(inner, "w") as archive:
        archive.writestr("../out", "x")
    found = unpack(made(tmp_path / "a.zip", ("pack/in.zip", inner.getvalue())), tmp_path / "target")
    assert (found / "in.zip").read_bytes() == inner.getvalue()
