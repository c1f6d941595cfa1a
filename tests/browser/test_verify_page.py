"""The page in a pack that verifies it: opened from disk in a real browser, without any server."""

from __future__ import annotations

import os
import re
import shutil
import zipfile
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from facility.pack import building
from tests import make
from tests.pack.conftest import _short_report, folder
from tests.pack.kit import built, opened

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
    expect(page.locator("#said")).to_have_text(re.compile("^(Three separate|Not)"))
    found = {one: page.locator(f"#{one}") for one in STATEMENTS}
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
