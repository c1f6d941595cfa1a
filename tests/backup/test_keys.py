"""The key on paper and in the data folder."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from facility.backup import keys
from facility.backup.faults import BackupError
from facility.backup.keys import Key

if TYPE_CHECKING:
    from pathlib import Path

#: test vectors published with BIP-39 (from memory): 256 bits of entropy and their words
VECTORS = [
    ("00" * 32, "abandon " * 23 + "art"),
    ("7f" * 32, "legal winner thank year wave sausage worth useful " * 2 + "legal winner thank year wave sausage worth title"),
    ("ff" * 32, "zoo " * 23 + "vote"),
]  # fmt: skip


@pytest.mark.parametrize(("digits", "words"), VECTORS)
def test_a_key_and_its_words_are_one(digits: str, words: str) -> None:
    key = Key(bytes.fromhex(digits))
    assert key.words == words
    assert keys.parse(words, source="paper") == key
    assert keys.parse(digits.upper(), source="paper") == key


def test_a_key_is_made_once_and_for_its_owner_alone(tmp_path: Path) -> None:
    made = keys.made_in(tmp_path)
    assert keys.made_in(tmp_path) == made
    assert ((tmp_path / keys.FILE).stat().st_mode & 0o777) == 0o600
    assert [path.name for path in tmp_path.iterdir()] == [keys.FILE]
    other = tmp_path / "other"
    other.mkdir()
    assert keys.made_in(other) != made


def test_a_key_that_is_there_is_never_replaced(tmp_path: Path) -> None:
    made = keys.made_in(tmp_path)
    keys.keep(Key(bytes(32)), tmp_path)
    assert keys.of_folder(tmp_path) == made


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("", "paper holds no key.*here are 0 words"),
        ("abandon " * 22 + "art", "here are 23 words"),
        ("abandon " * 11 + "abbandon " + "abandon " * 11 + "art", "the words number 12 are not words of a key"),
        ("abandon " * 24, "together they are no key: one is wrong or out of order"),
        ("00" * 31, "paper holds no key"),
    ],
)
def test_words_typed_wrongly_are_named(text: str, named: str) -> None:
    with pytest.raises(BackupError, match=named):
        keys.parse(text, source="paper")


def test_a_key_is_not_told_by_accident() -> None:
    key = Key(bytes(range(32)))
    for text in (repr(key), str(key), f"{key}", key.number.hex()):
        assert key.secret.hex() not in text
        assert key.words not in text


def test_the_key_is_shown_as_words_and_code_and_is_in_no_log(folder: Path, caplog: pytest.LogCaptureFixture) -> None:
    target, noise = io.StringIO(), io.StringIO()
    with caplog.at_level("DEBUG"):
        call_command("backup", show_key=True, stdout=target, stderr=noise)
    words = keys.made_in(folder).words.split()
    shown = target.getvalue()
    typed_off = "\n".join(line for line in shown.splitlines() if line.strip()[:1].isdigit())
    assert keys.parse(typed_off, source="paper") == keys.made_in(folder)
    assert [f"{place:2} {word}" in shown for place, word in enumerate(words, 1)] == [True] * 24
    # three finder patterns of a QR code have a solid core (ISO/IEC 18004, 6.3.3); half blocks draw it
    assert shown.count("▄▄▄▄▄ █") >= 2
    assert not [word for word in words if word in caplog.text.split() + noise.getvalue().split()]


def test_a_key_file_that_is_not_there_is_named(folder: Path) -> None:
    with pytest.raises(CommandError, match="The key file .*gone cannot be read: No such file"):
        call_command("backup", to=folder / "out", key=folder / "gone")
    assert not (folder / "out").exists()
