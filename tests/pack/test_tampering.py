"""Thousands of random changes to an unpacked pack: each is found, and the member is named."""

from __future__ import annotations

import random
import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pytest

from facility.pack import bag, checking, layout
from tests.pack.filling import fill
from tests.pack.forging import list_anew
from tests.pack.kit import built, opened

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

MUTATIONS = 2050
SEED = 20261125


@dataclass(frozen=True)
class Change:
    """What was done, and the members of which at least one must be named."""

    what: str
    members: tuple[str, ...]


def flipped(root: Path, names: list[str], dice: random.Random) -> Change:
    """Change one byte of one member."""
    name = dice.choice([one for one in names if (root / one).stat().st_size])
    raw = bytearray((root / name).read_bytes())
    at = dice.randrange(len(raw))
    raw[at] ^= dice.randrange(1, 256)
    (root / name).write_bytes(raw)
    return Change(f"byte {at} of {name}", (name,))


def cut(root: Path, names: list[str], dice: random.Random) -> Change:
    """Cut the end of a member off, or put a byte behind it."""
    name = dice.choice([one for one in names if (root / one).stat().st_size])
    raw = (root / name).read_bytes()
    (root / name).write_bytes(raw[: dice.randrange(len(raw))] if dice.random() < 0.5 else raw + b"\n")
    return Change(f"length of {name}", (name,))


def dropped(root: Path, names: list[str], dice: random.Random) -> Change:
    """Take a member away."""
    name = dice.choice(names)
    (root / name).unlink()
    return Change(f"without {name}", (name,))


def added(root: Path, names: list[str], dice: random.Random) -> Change:
    """Put a member in."""
    name = f"{dice.choice(['data', 'data/tables', 'data/attachments', 'data/checkpoints'])}/{dice.randrange(10**6)}.txt"
    (root / name).parent.mkdir(exist_ok=True)  # an empty folder is in no zip
    (root / name).write_bytes(b"new")
    return Change(f"with {name}", (name,))


def swapped(root: Path, names: list[str], dice: random.Random) -> Change:
    """Let two members of different content change places."""
    one, other = dice.sample(names, 2)
    while (root / one).read_bytes() == (root / other).read_bytes():
        one, other = dice.sample(names, 2)
    first = (root / one).read_bytes()
    (root / one).write_bytes((root / other).read_bytes())
    (root / other).write_bytes(first)
    return Change(f"{one} for {other}", (one, other))


def renamed(root: Path, names: list[str], dice: random.Random) -> Change:
    """Give a member another name."""
    name = dice.choice(names)
    (root / name).rename(root / f"{name}.bak")
    return Change(f"{name} renamed", (name, f"{name}.bak"))


def listed_anew(root: Path, names: list[str], dice: random.Random) -> Change:
    """Change a member of the payload and make both manifests anew, as a forger without the key would."""
    name = dice.choice([one for one in names if one.startswith("data/")])
    (root / name).write_bytes((root / name).read_bytes() + b"x")
    list_anew(root)
    return Change(f"{name} listed anew", (layout.SIGNATURE, layout.TAG_MANIFEST, name))


WAYS: list[tuple[Callable[[Path, list[str], random.Random], Change], int]] = [
    (flipped, 10), (cut, 3), (dropped, 3), (added, 2), (swapped, 2), (renamed, 2), (listed_anew, 3),
]  # fmt: skip


def put_back(root: Path, whole: Path, done: Change) -> None:
    """Undo a change."""
    for name in {*done.members, layout.MANIFEST, layout.TAG_MANIFEST}:
        if (whole / name).is_file():
            shutil.copyfile(whole / name, root / name)
        else:
            (root / name).unlink(missing_ok=True)


def found_in(outcome: checking.Outcome) -> set[str]:
    """Return the members that are named."""
    return {member for one in outcome.statements for member, _words in one.problems}


def named_for(done: Change) -> set[str]:
    """Return the members of which one must be named. Which of list and signature was changed nobody can tell."""
    pair = {layout.TAG_MANIFEST, layout.SIGNATURE}
    return set(done.members) | (pair if pair & set(done.members) else set())


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("_short_report", "folder")
def test_every_change_of_a_member_is_found_and_the_member_is_named(tmp_path: Path) -> None:
    root = opened(built(fill().site), tmp_path / "one")
    whole = shutil.copytree(root, tmp_path / "whole")
    names = [name for name in bag.members(root) if name not in layout.VERIFIERS]
    assert checking.verified(root).code == checking.HOLDS
    dice = random.Random(SEED)  # noqa: S311  # a test that can be run again
    missed: list[Any] = []
    for _turn in range(MUTATIONS):
        way = dice.choices([one for one, _weight in WAYS], [weight for _one, weight in WAYS])[0]
        done = way(root, names, dice)
        outcome = checking.verified(root)
        if outcome.code != checking.WRONG or not found_in(outcome) & named_for(done):
            missed.append((done, outcome.code, sorted(found_in(outcome))))
        put_back(root, whole, done)
    assert missed == []
    assert checking.verified(root).code == checking.HOLDS
