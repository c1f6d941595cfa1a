"""The program in a pack as a stranger runs it: isolated, without libraries, in an empty environment; by exit code."""

from __future__ import annotations

import base64
import json
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from facility.compute import note, tree
from facility.pack import bag, building, layout
from facility.trust import anew, keyfiles, keys
from tests import make
from tests.pack.forging import list_anew
from tests.pack.kit import built, opened

if TYPE_CHECKING:
    from collections.abc import Callable

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("_short_report", "folder")]
STATEMENTS = ["Files unchanged: ", "Events belong to the log of ", "Signed by the key "]


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    """Return the folder of an unpacked pack."""
    return opened(built(make.site()), tmp_path / "unpacked")


def run(root: Path, *arguments: str) -> tuple[int, str]:
    """Run the program that lies in a pack; return its exit code and what it wrote."""
    command = [sys.executable, "-I", "-S", str(root / "verify.py"), *arguments]
    done = subprocess.run(
        command, cwd=root, env={}, capture_output=True, text=True, check=False, timeout=60
    )  # our own program
    return done.returncode, done.stdout + done.stderr


def listed_anew(root: Path) -> None:
    """Make the manifests anew and sign them, as whoever holds the key of the box could."""
    list_anew(root)
    bag.sign(root)


def test_a_whole_pack_ends_with_0_and_says_three_things_and_what_is_not_proved(pack: Path) -> None:
    code, told = run(pack)
    assert code == 0, told
    lines = told.splitlines()
    assert [line[: len(start)] for line, start in zip(lines, STATEMENTS, strict=False)] == STATEMENTS
    assert all(line.endswith(": yes") for line in lines[:3])
    assert "NOT proved" in told


def test_a_changed_byte_ends_with_1_and_names_the_member(pack: Path) -> None:
    (pack / "data/README.txt").write_bytes((pack / "data/README.txt").read_bytes() + b"x")
    code, told = run(pack)
    assert code == 1
    assert "data/README.txt: was changed" in told


def test_a_name_that_no_terminal_can_show_is_named_and_neither_ends_a_line_nor_steers_the_screen(pack: Path) -> None:
    """ESC [ 2 J clears the screen (ECMA-48, 8.3.39); the lone byte is no UTF-8, and the far side takes ASCII alone."""
    for name in (b"data/one\nFiles unchanged: yes", b"data/two\x1b[2J", b"data/three\xff", "data/größer".encode()):
        Path(os.fsdecode(os.fsencode(pack) + b"/" + name)).write_bytes(b"x")
    command = [sys.executable, "-S", str(pack / "verify.py")]
    done = subprocess.run(
        command, env={"PYTHONIOENCODING": "ascii"}, capture_output=True, check=False, timeout=60
    )  # our own program
    assert done.returncode == 1
    assert done.stderr == b""
    lines = done.stdout.decode("ascii").splitlines()
    assert lines[0] == "Files unchanged: NO"
    assert [line.split(": ")[0] for line in lines[1:5]] == [
        "  data/gr\\xf6\\xdfer", "  data/one\\u{a}Files unchanged", "  data/three\\u{dcff}", "  data/two\\u{1b}[2J",
    ]  # fmt: skip
    assert lines[5].startswith("Events belong")


def test_without_a_key_the_signature_is_not_checked_and_it_ends_with_2(pack: Path) -> None:
    (pack / layout.KEYS).write_text("[]")
    listed_anew(pack)
    code, told = run(pack)
    assert code == 2
    assert "Signed by the key ?: NOT CHECKED" in told
    assert "data/keys.json: holds no key of the log" in told


@pytest.fixture
def older(tmp_path: Path) -> tuple[Path, Path]:
    """Return a pack and a later one of the same log, unpacked, and the earlier zip beside them."""
    site = make.site()
    first = built(site)
    shutil.copyfile(building.path_of(first), tmp_path / "older.zip")
    return opened(first, tmp_path / "first"), opened(built(site), tmp_path / "second")


def test_a_later_log_goes_on_from_an_older_folder_zip_or_head_alone(older: tuple[Path, Path], tmp_path: Path) -> None:
    first, second = older
    shutil.copyfile(first / layout.HEAD, tmp_path / "checkpoint.note")
    size = len((first / layout.LEAVES).read_text().split())
    for given in (first, tmp_path / "older.zip", tmp_path / "checkpoint.note"):
        code, told = run(second, "--older", str(given))
        assert code == 0, told
        assert f"The log goes on from the older one of {size} events: yes" in told
    code, told = run(first, "--older", str(second))
    assert code == 1
    assert f"data/leaves.txt: has {size} events, the older head tells of" in told


def test_an_older_head_of_another_root_log_or_signer_is_wrong_and_one_that_cannot_be_read_is_not_checked(
    older: tuple[Path, Path], tmp_path: Path
) -> None:
    first, second = older
    note = (first / layout.HEAD).read_text()
    head = tmp_path / "checkpoint.note"
    name, size, root = note.splitlines()[:3]
    other = base64.b64encode(bytes(32)).decode()
    for text, words in [
        (note.replace(root, other), "does not go on from the older head"),
        (note.replace(name, "deepstead/0000000000000000"), "is of another log"),
        (note.replace(f"\n{size}\n", "\n1\n"), "is not signed by a key in data/keys.json"),
    ]:
        head.write_text(text)
        code, told = run(second, "--older", str(head))
        assert code == 1, told
        assert words in told
    for path in (tmp_path / "nothing", no_pack(tmp_path)):
        code, told = run(second, "--older", str(path))
        assert code == 2
        assert "The log goes on from the older one of ? events: NOT CHECKED" in told


def no_pack(tmp_path: Path) -> Path:
    """Return a zip that is no pack."""
    with zipfile.ZipFile(tmp_path / "letter.zip", "w") as archive:
        archive.writestr("letter.txt", "Dear Ina")
    return tmp_path / "letter.zip"


def test_a_log_built_anew_under_the_same_keys_does_not_go_on_from_the_older_pack(
    older: tuple[Path, Path],
) -> None:
    """The holder of the key signs a head over other leaves; the pack is whole in itself, the older head is what shows it."""
    first, second = older
    lines = (second / layout.LEAVES).read_text().split()
    leaves = [bytes(32), *map(bytes.fromhex, lines[1:])]
    (second / layout.LEAVES).write_text("".join(one.hex() + "\n" for one in leaves))
    (second / layout.EVENTS).write_text("")
    for path in (second / "data/checkpoints").iterdir():
        path.unlink()
    name = keys.origin()
    text = note.checkpoint_text(name, len(leaves), tree.root(leaves))
    key = keyfiles.log_key()
    signed = note.signed(text, name, key.public_key().public_bytes_raw(), key.sign(text.encode()))
    (second / layout.HEAD).write_text(signed)
    listed_anew(second)
    assert run(second)[0] == 0
    code, told = run(second, "--older", str(first))
    assert code == 1
    assert "does not go on from the older head" in told


def test_a_lost_key_is_told_with_every_pack_and_a_key_of_before_does_not_lead_past_it(
    folder: Path, tmp_path: Path
) -> None:
    site = make.site()
    keys.ensure()
    old = keys.in_use("log").fingerprint  # type: ignore[union-attr]  # made just now
    (folder / "box-key").unlink()
    new = anew.begin("log", by=make.BY, reason="burnt").fingerprint
    root = opened(built(site), tmp_path / "broken")
    assert "THE CHAIN OF KEYS IS BROKEN" in (root / layout.README).read_text()
    words = f"data/keys.json: the chain of keys is broken: {old[:16]} was lost, and only {new[:16]} itself says"
    code, told = run(root)
    assert (code, f"Signed by the key {new}: NOT CHECKED" in told, words in told) == (2, True, True), told
    code, told = run(root, "--key", new)
    assert (code, words in told) == (0, True), told
    code, told = run(root, "--key", old)
    assert code == 1
    assert "not by the key asked for" in told


def test_who_strikes_out_that_a_key_was_lost_is_named(folder: Path, tmp_path: Path) -> None:
    site = make.site()
    keys.ensure()
    (folder / "box-key").unlink()
    anew.begin("log", by=make.BY, reason="burnt")
    root = opened(built(site), tmp_path / "broken")
    rows = json.loads((root / layout.KEYS).read_text())
    for row in rows:
        (row["passed_on"] or {}).pop("broken", None)
    (root / layout.KEYS).write_text(json.dumps(rows))
    listed_anew(root)
    code, told = run(root)
    assert code == 1
    assert "data/keys.json" in told


def test_a_folder_that_is_not_there_and_a_fingerprint_that_is_none_end_with_2(pack: Path, tmp_path: Path) -> None:
    assert run(pack, str(tmp_path / "nothing"))[0] == 2
    code, told = run(pack, "--key", "abc")
    assert code == 2
    assert "64 digits" in told


def test_a_key_noted_before_it_was_replaced_is_followed_to_the_one_in_use(folder: Path, tmp_path: Path) -> None:
    site = make.site()
    keys.ensure()
    old = keys.in_use("log").fingerprint  # type: ignore[union-attr]  # made just now
    keys.rotate("log", by=make.BY, reason="yearly")
    root = opened(built(site), tmp_path / "rotated")
    assert (folder / "box-key").is_file()
    assert run(root, "--key", old)[0] == 0
    code, told = run(root, "--key", "0" * 64)
    assert code == 1
    assert "not by the key asked for" in told
    rows = json.loads((root / layout.KEYS).read_text())
    for row in rows:
        if row["use"] == "log" and row["passed_on"]:
            row["passed_on"]["text"] = row["passed_on"]["text"].replace("yearly", "monthly")
    (root / layout.KEYS).write_text(json.dumps(rows))
    listed_anew(root)
    code, told = run(root, "--key", old)
    assert code == 1
    assert "data/keys.json: a key was not passed on" in told


@pytest.mark.parametrize(
    ("change", "member", "words"),
    [
        (lambda root: (root / layout.KEYS).write_text(json.dumps(2 * json.loads((root / layout.KEYS).read_text()))),
         layout.KEYS, "a key is there twice"),
        (lambda root: (root / layout.BAGIT).write_text("BagIt-Version: 0.97\n"), layout.BAGIT, "not that of a pack"),
        (lambda root: (root / "data/readme.TXT").write_text("x"), "data/readme.TXT", "differs only in capitals"),
        (lambda root: (root / layout.EVENTS).write_text((root / layout.EVENTS).read_text().replace(
            '"payload":"', '"payload":" ', 1)), layout.EVENTS, "is not the one of the log"),
    ],
)  # fmt: skip
def test_what_even_the_holder_of_the_key_cannot_put_right_is_named(
    pack: Path, change: Callable[[Path], object], member: str, words: str
) -> None:
    change(pack)
    listed_anew(pack)
    code, told = run(pack)
    assert code == 1, told
    assert any(line.startswith(f"  {member}: ") and words in line for line in told.splitlines()), told


def test_a_signature_written_another_way_is_refused(pack: Path) -> None:
    path = pack / layout.SIGNATURE
    whole = path.read_text()
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
    same = whole[:85] + letters[letters.index(whole[85]) + 1] + "=="  # the last letter's four low bits say nothing
    for odd in (same, whole + "\n", " " + whole, whole.rstrip("=")):
        path.write_text(odd)
        code, told = run(pack)
        assert code == 1, odd
        assert layout.SIGNATURE in told
