"""Walk the linked pages of the demo as its director, on a phone and on a tablet: barriers, overflow, faults.

Of each kind of address a few pages stand for all. Barriers are named by axe-core against WCAG 2.2, levels A and AA;
that nothing may run off the sheet is its criterion 1.4.10.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

import pytest
from django.utils import timezone
from playwright.sync_api import Error as PlaywrightError

from facility.accounts.demo import DEMO_PASSWORD
from facility.demo.loading import load, zone_of_set

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import Page, Response
    from pytest_django import Settings

pytestmark = pytest.mark.django_db(transaction=True)

SIZES = ({"width": 360, "height": 740}, {"width": 820, "height": 1180})
FEW = 1
MOST = 140
#: downloads are no pages
NO_PAGE = re.compile(r"\.(zip|csv|json|pdf)$")
#: what reaches beyond the right edge; pictures, hidden words and what scrolls by itself are not meant
WIDER = """() => [...document.querySelectorAll('body *')].filter(e => !e.closest('.vh, .skip, svg, .over, table')
  && e.getBoundingClientRect().right > document.documentElement.clientWidth + 1).map(e => e.outerHTML.slice(0, 120))"""
SCROLLS = "document.documentElement.scrollWidth > document.documentElement.clientWidth + 1"
LINKS = "links => links.filter(a => !a.hasAttribute('download')).map(a => a.href)"


def kind_of(address: str) -> str:
    """Return an address without what tells one record from another."""
    path, asked, _rest = address.partition("?")
    path = re.sub(r"/keep/[^/]+/", "/keep/kind/", path)
    path = re.sub(r"/(why/[^/]+|house-rules|worksheets)/[^/]+/", r"/\1/one/", path)
    return re.sub(r"/\d+/", "/n/", path) + asked


@pytest.fixture
def director(page: Page, settings: Settings, tmp_path: Path) -> Page:
    """Return a page signed in as the demo's director, the demo loaded as of today into a folder of its own."""
    settings.DATA_DIR = tmp_path
    settings.EVIDENCE_DIR = tmp_path / "evidence"
    load(timezone.now().astimezone(zone_of_set()).date())
    page.goto("/sign-in/")
    page.fill("input[name=username]", "director")
    page.fill("input[name=password]", DEMO_PASSWORD)
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/now/")
    return page


def linked(page: Page) -> Iterator[str]:
    """Give the addresses of the app that a page leads to, without what follows a #."""
    base = page.evaluate("location.origin")
    for href in page.eval_on_selector_all("a[href]", LINKS):
        address = href.partition("#")[0]
        if address.startswith(base) and not NO_PAGE.search(address):
            yield address.removeprefix(base)


def faults_at_each_size(page: Page, barriers: Callable[[Page], list[str]]) -> list[str]:
    """Name what runs off the sheet and what axe-core finds, on a phone and on a tablet."""
    found: list[str] = []
    for size in SIZES:
        page.set_viewport_size(size)  # type: ignore[arg-type]  # a plain dictionary
        found += [f"{size['width']}: {one}" for one in (*page.evaluate(WIDER), *barriers(page))]
        if page.evaluate(SCROLLS):
            found.append(f"{size['width']}: the page scrolls sideways")
    return found


def opened(page: Page, address: str) -> Response | None:
    """Open an address; None where it hands out a file instead of a page."""
    try:
        return page.goto(address)
    except PlaywrightError as error:
        if "Download is starting" not in error.message:
            raise
        return None


def test_pages_that_are_linked_have_no_barrier_and_nothing_runs_off_the_sheet(
    director: Page, barriers: Callable[[Page], list[str]], faults: list[str]
) -> None:
    seen: Counter[str] = Counter()
    ahead, known, found = ["/"], {"/"}, {}
    while ahead and seen.total() < MOST:
        address = min(ahead, key=lambda one: seen[kind_of(one)])  # of each kind one first, then a second
        ahead.remove(address)
        if seen[kind_of(address)] == FEW:
            continue
        seen[kind_of(address)] += 1
        response = opened(director, address)
        if response is None:
            continue
        wrong = [] if response.ok else [f"answered {response.status}"]
        if wrong := wrong + faults_at_each_size(director, barriers) + faults:
            found[address] = wrong
            faults.clear()
        fresh = [one for one in dict.fromkeys(linked(director)) if one not in known]
        known.update(fresh)
        ahead += fresh
    assert found == {}
    assert len(seen) > FEW * 10, sorted(seen)
