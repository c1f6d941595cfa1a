"""The page in a pack that verifies it: opened from disk in a real browser, without any server."""

from __future__ import annotations

import os
import re
import shutil
import zipfile
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from facility.pack import building, layout
from facility.trust import anew, keys
from tests import make
from tests.pack.conftest import _short_report, folder
from tests.pack.kit import built, opened
from tests.trust.test_tree import LEAVES, ROOTS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

__all__ = ["_short_report", "folder"]
pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("_short_report", "folder")]
STATEMENTS = ("files", "events", "signature")
HOLD = dict.fromkeys(STATEMENTS, "yes")


@pytest.fixture
def alone(chromium: Browser, faults: list[str]) -> Iterator[Page]:
    """Open a page of a browser without a network; fail on script errors and on any request but for files."""
    context = chromium.new_context(offline=True, viewport={"width": 390, "height": 844})
    context.set_default_timeout(10_000)
    page = context.new_page()
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("request", lambda request: None if request.url.startswith("file:") else faults.append(request.url))
    yield page
    context.close()
    assert faults == []


@pytest.fixture
def pack(tmp_path: Path) -> tuple[Path, Path]:
    """Build a pack; return its zip and where it was unpacked."""
    made = built(make.site())
    return building.path_of(made), opened(made, tmp_path / "unpacked")


def zipped(root: Path, target: Path) -> Path:
    """Pack a folder anew with another packer than the app's."""
    return shutil.make_archive(str(target), "zip", root.parent, root.name)  # type: ignore[return-value]  # a name


def read(page: Page) -> dict[str, str | None]:
    """Return what each statement says once the page has read the pack."""
    expect(page.locator("#said")).to_have_text(re.compile("^(Three separate|Four separate|Not)"))
    asked = (*STATEMENTS, "continues") if page.locator("#continues").count() else STATEMENTS
    found = {one: page.locator(f"#{one}") for one in asked}
    return {name: one.get_attribute("data-holds") if one.count() else None for name, one in found.items()}


def test_a_pack_holds_as_a_zip_and_as_a_folder_and_the_page_has_no_barrier(
    alone: Page, pack: tuple[Path, Path], barriers: Callable[[Page], list[str]]
) -> None:
    archive, root = pack
    alone.goto((root / "verify.html").as_uri())
    alone.set_input_files("#zip", archive)
    assert read(alone) == HOLD
    assert alone.locator("#files .verdict").inner_text() == "Holds"
    assert "not proved" in alone.locator("main").inner_text()
    assert barriers(alone) == []
    assert alone.evaluate("document.documentElement.scrollWidth") <= 390
    if target := os.environ.get("DEEPSTEAD_SHOTS"):
        alone.screenshot(path=f"{target}/verify.png", full_page=True)
    alone.goto((root / "verify.html").as_uri())
    alone.set_input_files("#folder", root)
    assert read(alone) == HOLD


def test_a_changed_byte_is_named_and_so_is_a_file_too_many(
    alone: Page, pack: tuple[Path, Path], tmp_path: Path
) -> None:
    root = pack[1]
    raw = bytearray((root / "data/README.txt").read_bytes())
    raw[10] ^= 1
    (root / "data/README.txt").write_bytes(raw)
    (root / "data/more.txt").write_text("new")
    alone.goto((root / "verify.html").as_uri())
    alone.set_input_files("#zip", zipped(root, tmp_path / "changed"))
    assert read(alone) == HOLD | {"files": "no"}
    assert "data/README.txt: was changed" in alone.locator("#files").inner_text()
    assert "data/more.txt: does not belong" in alone.locator("#files").inner_text()
    if target := os.environ.get("DEEPSTEAD_SHOTS"):
        alone.screenshot(path=f"{target}/verify-changed.png", full_page=True)


def test_a_log_cut_short_and_another_key_are_told_apart(alone: Page, pack: tuple[Path, Path], tmp_path: Path) -> None:
    root = pack[1]
    leaves = root / "data/leaves.txt"
    leaves.write_text("".join(leaves.read_text().splitlines(keepends=True)[:-1]))
    alone.goto((root / "verify.html").as_uri())
    alone.fill("#pin", "0" * 64)
    alone.set_input_files("#zip", zipped(root, tmp_path / "cut"))
    assert read(alone) == dict.fromkeys(STATEMENTS, "no")
    assert "data/leaves.txt: does not lead to the head in data/checkpoint.note" in alone.locator("#events").inner_text()
    assert "another key than the one of the wall sheet" in alone.locator("#signature").inner_text()


@pytest.mark.parametrize(
    "names", [["pack/../out.txt"], ["/pack/a"], ["pack/a", "pack/A"], ["one/a", "two/a"], ["C:\\a/b"]]
)
def test_a_zip_with_a_name_that_no_pack_has_is_not_opened(
    alone: Page, pack: tuple[Path, Path], tmp_path: Path, names: list[str]
) -> None:
    crafted = tmp_path / "crafted.zip"
    with zipfile.ZipFile(crafted, "w") as archive:
        for name in names:
            archive.writestr(name, "x")
    alone.goto((pack[1] / "verify.html").as_uri())
    alone.set_input_files("#zip", crafted)
    assert read(alone) == dict.fromkeys(STATEMENTS)
    assert alone.locator("#said").inner_text().startswith("Not opened: ")


def test_a_member_longer_than_the_zip_says_is_named(alone: Page, pack: tuple[Path, Path], tmp_path: Path) -> None:
    archive, root = pack
    raw = bytearray(archive.read_bytes())
    at = raw.rindex(b"/data/README.txt") - raw[raw.rindex(b"/data/README.txt") :].index(b"/data")
    start = raw.rindex(b"PK\x01\x02", 0, at)
    raw[start + 24 : start + 28] = (7).to_bytes(4, "little")
    (tmp_path / "bomb.zip").write_bytes(raw)
    alone.goto((root / "verify.html").as_uri())
    alone.set_input_files("#zip", tmp_path / "bomb.zip")
    assert read(alone) == HOLD | {"files": "no"}
    assert "data/README.txt: cannot be read: is longer than the zip says" in alone.locator("#files").inner_text()


@pytest.fixture
def two(tmp_path: Path) -> tuple[Path, Path, Path]:
    """Build two packs of one log; return the first zip, the first unpacked, and the second zip."""
    site = make.site()
    first = built(site)
    return building.path_of(first), opened(first, tmp_path / "first"), building.path_of(built(site))


def test_the_tree_of_the_page_has_the_published_roots(alone: Page, pack: tuple[Path, Path]) -> None:
    """RFC 6962, section 2.1: the vectors of the reference implementation, as in tests of the tree."""
    alone.goto((pack[1] / "verify.html").as_uri())
    script = """async leaves => {
        const levels = await tree(leaves.map(one => Uint8Array.from(one)));
        return Promise.all(leaves.map((_leaf, at) => rootAt(levels, at + 1)));
    }"""
    assert alone.evaluate(script, [list(leaf) for leaf in LEAVES]) == ROOTS[1:]


def test_a_later_log_goes_on_from_an_older_pack_or_from_its_head_alone(
    alone: Page, two: tuple[Path, Path, Path], barriers: Callable[[Page], list[str]]
) -> None:
    first, root, second = two
    alone.goto((root / "verify.html").as_uri())
    for older in (first, root / layout.HEAD):
        alone.set_input_files("#older", older)
        alone.set_input_files("#zip", second)
        assert read(alone) == HOLD | {"continues": "yes"}
    size = len((root / layout.LEAVES).read_text().split())
    assert f"The log goes on from the older one of {size} events" in alone.locator("#continues").inner_text()
    assert barriers(alone) == []
    if target := os.environ.get("DEEPSTEAD_SHOTS"):
        alone.screenshot(path=f"{target}/verify-older.png", full_page=True)


def test_an_older_head_chosen_after_the_pack_counts_too_and_a_longer_one_is_wrong(
    alone: Page, two: tuple[Path, Path, Path]
) -> None:
    first, root, second = two
    alone.goto((root / "verify.html").as_uri())
    alone.set_input_files("#zip", first)
    assert read(alone) == HOLD
    alone.set_input_files("#older", second)
    expect(alone.locator("#continues")).to_have_attribute("data-holds", "no")
    assert "the older head tells of" in alone.locator("#continues").inner_text()


@pytest.mark.parametrize(
    ("change", "state", "words"),
    [
        (lambda text: text.replace(text.split("\n")[2], "A" * 43 + "="), "no", "does not go on from the older head"),
        (lambda text: text.replace("deepstead/", "deepstead/0"), "no", "is of another log"),
        (lambda text: text.replace(f"\n{text.split()[1]}\n", "\n1\n"), "no", "is not signed by a key"),
        (lambda _text: "Dear Ina,\n", "unchecked", "cannot be read"),
    ],
)  # fmt: skip
def test_an_older_head_that_does_not_fit_is_named(
    alone: Page, two: tuple[Path, Path, Path], tmp_path: Path, change: Callable[[str], str], state: str, words: str
) -> None:
    root = two[1]
    head = tmp_path / "older.note"
    head.write_text(change((root / layout.HEAD).read_text()))
    alone.goto((root / "verify.html").as_uri())
    alone.set_input_files("#older", head)
    alone.set_input_files("#zip", two[2])
    assert read(alone) == HOLD | {"continues": state}
    assert words in alone.locator("#continues").inner_text()


def test_a_lost_key_is_told_and_only_the_new_fingerprint_leads_to_it(alone: Page, folder: Path, tmp_path: Path) -> None:
    site = make.site()
    keys.ensure()
    old = keys.in_use("log").fingerprint  # type: ignore[union-attr]  # made just now
    (folder / "box-key").unlink()
    new = anew.begin("log", by=make.BY, reason="burnt").fingerprint
    made = built(site)
    root = opened(made, tmp_path / "broken")
    for pin, state in (("", "unchecked"), (new, "yes"), (old, "no")):
        alone.goto((root / "verify.html").as_uri())
        alone.fill("#pin", pin)
        alone.set_input_files("#zip", building.path_of(made))
        assert read(alone) == HOLD | {"signature": state}
        assert "the chain of keys is broken" in alone.locator("#signature").inner_text()
