"""The program and the page in a pack hold the same to be wrong, member by member: also of what a forger made with care."""

from __future__ import annotations

import base64
import json
import shutil
from typing import TYPE_CHECKING, Any

import pytest

from facility.pack import bag, layout
from facility.pack.verifier import verify
from facility.trust import keys
from tests import make
from tests.browser.test_verify_page import alone
from tests.pack.conftest import _short_report, folder
from tests.pack.filling import fill
from tests.pack.forging import ROW, head, list_anew, seal_anew, sign_anew
from tests.pack.kit import built, opened

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    Told = list[tuple[str, bool | None, list[str]]]

__all__ = ["_short_report", "alone", "folder"]
pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("_short_report", "folder")]
ASK = """async ([members, pin, older]) => {
    const raw = code => Uint8Array.from(atob(code), one => one.charCodeAt(0));
    const pack = new Map(Object.entries(members).map(([name, code]) => [name, async () => raw(code)]));
    const told = await verify(pack, pin, new File([raw(older)], "older.note"));
    return told.map(([key, , , one]) => [key, one.holds, one.problems.map(([member]) => member)]);
}"""
STATEMENTS = ("files", "events", "signature", "continues")


def edited(name: str, change: Callable[[str], str]) -> Callable[[Path], object]:
    """Return what changes the text of a member."""
    return lambda root: (root / name).write_text(change((root / name).read_text()), newline="")


def put(name: str, content: str) -> Callable[[Path], object]:
    """Return what puts a member in."""

    def act(root: Path) -> None:
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(content)

    return act


def keyed(change: Callable[[list[Any]], object]) -> Callable[[Path], object]:
    """Return what changes the list of keys."""

    def act(text: str) -> str:
        rows = json.loads(text)
        change(rows)
        return json.dumps(rows)

    return edited(layout.KEYS, act)


def evented(change: Callable[[dict[str, Any]], object]) -> Callable[[Path], object]:
    """Return what changes the first event that is told."""

    def act(text: str) -> str:
        first, rest = text.split("\n", 1)
        one = json.loads(first)
        change(one)
        return json.dumps(one) + "\n" + rest

    return edited(layout.EVENTS, act)


def turned(text: str) -> str:
    """Return two lines in the other order."""
    first, second, rest = text.split("\n", 2)
    return f"{second}\n{first}\n{rest}"


PASSED: dict[str, Any] = {
    "text": "deepstead key statement v1\nold: none\nnew: none\n",
    "old_signature": "",
    "new_signature": "",
}
CHANGES: dict[str, Callable[[Path], object]] = {
    "nothing": lambda _root: None,
    "calendar": edited(layout.DUE, lambda text: text.replace("VERSION:2.0", "VERSION:2.1")),
    "events turned": edited(layout.EVENTS, turned),
    "event twice": edited(layout.EVENTS, lambda text: text[: text.index("\n") + 1] + text),
    "event reworded": evented(lambda one: one.update(payload=one["payload"].replace("actor", "Actor"))),
    "event with a fraction": evented(lambda one: one.update(seq=float(one["seq"]))),
    "event with more": evented(lambda one: one.update(note="x")),
    "event with less": evented(lambda one: one.pop("prev")),
    "event with half a character": evented(lambda one: one.update(payload="\ud800")),
    "events not ended": edited(layout.EVENTS, lambda text: text[:-1]),
    "leaf large": edited(layout.LEAVES, str.upper),
    "leaf gone": edited(layout.LEAVES, lambda text: text[65:]),
    "leaves turned": edited(layout.LEAVES, turned),
    "leaves by another end of line": edited(layout.LEAVES, lambda text: text.replace("\n", "\r\n")),
    "blank leaf": edited(layout.LEAVES, lambda text: text + "\n"),
    "no head": lambda root: (root / layout.HEAD).unlink(),
    "head of nothing": put(layout.HEAD, "Dear Ina\n"),
    "earlier head in a folder": put("data/checkpoints/a/b.note", head("deepstead/0", 1, bytes(32))),
    "earlier head beyond counting": put("data/checkpoints/1.note", head("deepstead/0", 10**30, bytes(32))),
    "no keys": lambda root: (root / layout.KEYS).unlink(),
    "keys no list": edited(layout.KEYS, lambda _text: "{}"),
    "keys no JSON": edited(layout.KEYS, lambda text: text.replace("null", "NaN", 1)),
    "key without use": keyed(lambda rows: rows[0].pop("use")),
    "key of a number": keyed(lambda rows: rows[0].update(use=1)),
    "key without what passed it on": keyed(lambda rows: rows[0].pop("passed_on")),
    "key passed on by a list": keyed(lambda rows: rows[0].update(passed_on=[])),
    "key passed on by nobody": keyed(lambda rows: rows[0].update(passed_on=PASSED)),
    "key passed on in odd lines": keyed(lambda rows: rows[0].update(passed_on=PASSED | {"text": "a\nold\nb\n"})),
    "key twice": keyed(lambda rows: rows.append(rows[0])),
    "key of another fingerprint": keyed(lambda rows: rows[0].update(fingerprint="0" * 64)),
    "key of theirs besides": keyed(lambda rows: rows.append(ROW)),
    "list not ended": edited(layout.TAG_MANIFEST, lambda text: text[:-1]),
    "list with a way out": edited(layout.MANIFEST, lambda text: text.replace("  data/due", "  data/../data/due")),
    "list with two strokes": edited(layout.MANIFEST, lambda text: text.replace("  data/due", "  data//due")),
    "list with a blank": edited(layout.MANIFEST, lambda text: text.replace("  data/due", "  data/ due")),
    "only capitals differ": put("data/Readme.TXT", "x"),
    "a name with gaps": put("data/new file.txt", "x"),
    "a name that turns the line": put("data/\u202etxt.exe", "x"),
    "signature of nothing": put(layout.SIGNATURE, ""),
    "not that of a bag": edited(layout.BAGIT, lambda text: text.replace("1.0", "0.97")),
}
"""What somebody changes, by a name for it."""
FORGED: list[tuple[str, Callable[[Path], object]]] = [
    ("as it is", lambda _root: None), ("listed anew", list_anew), ("signed anew", seal_anew),
    ("with a head of theirs", sign_anew), ("with a head of theirs and the keys of the box", lambda root: sign_anew(root, keep=True)),
]  # fmt: skip
"""How they hide it."""


def by_page(page: Page, root: Path, pin: str, older: bytes) -> Told:
    """Ask the page about a folder: of each statement whether it holds, and which members are named."""
    members = {name: base64.b64encode(raw).decode() for name, raw in content(root).items()}
    found = page.evaluate(ASK, [members, pin, base64.b64encode(older).decode()])
    return [(key, holds, sorted(set(named))) for key, holds, named in found]


def by_program(root: Path, pin: str, older: Path) -> Told:
    """Ask the program the same."""
    report = verify.verify_folder(root, pin, older)
    told = [(key, getattr(report, key)) for key in STATEMENTS]
    return [(key, one.holds, sorted({member for member, _words in one.problems})) for key, one in told]


def hidden(act: Callable[[Path], object], root: Path) -> None:
    """Hide a change, as far as that can be done over what is left of the pack."""
    try:
        act(root)
    except (OSError, ValueError, IndexError):
        list_anew(root)


def content(root: Path) -> dict[str, bytes]:
    """Return all that is in a folder."""
    return {name: (root / name).read_bytes() for name in bag.members(root)}


@pytest.mark.parametrize(("way", "hide"), FORGED, ids=[way for way, _hide in FORGED])
def test_program_and_page_find_the_same_wrong_whatever_was_changed_and_however_it_was_hidden(
    alone: Page, tmp_path: Path, way: str, hide: Callable[[Path], object]
) -> None:
    whole = opened(built(fill().site), tmp_path / "whole")
    older = shutil.copyfile(whole / layout.HEAD, tmp_path / "older.note")
    posted = keys.in_use("log").fingerprint  # type: ignore[union-attr]  # the pack was signed by it
    alone.goto((whole / "verify.html").as_uri())
    for what, change in CHANGES.items():
        root = shutil.copytree(whole, tmp_path / "one" / what)
        change(root)
        hidden(hide, root)
        for pin in ("", posted):
            told = by_program(root, pin, older)
            assert by_page(alone, root, pin, older.read_bytes()) == told, (what, way, pin)
        found = any(holds is False for _key, holds, _named in told)  # what the posted fingerprint leads to
        assert found is not (content(root) == content(whole)), (what, way)
        shutil.rmtree(root)


def test_a_folder_with_a_strange_name_in_it_is_read_all_the_same(alone: Page, tmp_path: Path) -> None:
    root = opened(built(make.site()), tmp_path / "unpacked")
    (root / "data" / "new file.txt").write_text("x")
    alone.goto((root / "verify.html").as_uri())
    alone.set_input_files("#folder", root)
    alone.wait_for_selector("#files")
    assert alone.get_attribute("#files", "data-holds") == "no"
    assert "data/new file.txt: does not belong" in alone.locator("#files").inner_text()
