"""What a thumb presses and an eye reads on a phone: labels of folded rows stand apart, targets are large enough."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from facility.models import SiteRole
from tests import make

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.django_db(transaction=True)
PHONE = {"width": 390, "height": 844}
THUMB_PX = 44  # WCAG 2.2, 2.5.5, target size
SMALL = """least => [...document.querySelectorAll('.modes button, .foot button, .foot a, nav.index a, summary, main .act')]
  .filter(e => e.getClientRects().length)
  .filter(e => { const r = e.getBoundingClientRect(); return r.height < least - 0.5 || (e.tagName === 'BUTTON' && r.width < least - 0.5) })
  .map(e => e.outerHTML.slice(0, 90))"""
#: each cell of a folded row and the label that the style sheet draws in it: a cell must be as tall as its label
LABELS = """() => [...document.querySelectorAll('table.fold td[data-l]')].filter(cell => {
  const drawn = document.createElement('div'), style = getComputedStyle(cell, '::before');
  for (const name of ['width', 'fontFamily', 'fontSize', 'fontWeight', 'lineHeight', 'overflowWrap']) drawn.style[name] = style[name];
  drawn.style.position = 'absolute'; drawn.textContent = cell.dataset.l; document.body.append(drawn);
  const short = cell.getBoundingClientRect().height + 1 < drawn.getBoundingClientRect().height; drawn.remove(); return short
}).map(cell => cell.dataset.l)"""
#: the words under the marks of the five places: each in one line
LINES = """() => [...document.querySelectorAll('nav.index a')].filter(e => {
  const range = document.createRange(); range.selectNodeContents(e.lastChild);
  return new Set([...range.getClientRects()].map(r => Math.round(r.top))).size > 1 }).map(e => e.textContent)"""


@pytest.fixture
def phone(page: Page) -> Page:
    """Return a phone signed in as a director of a site with a bank, a lock and an item."""
    site = make.site(key="skerrow", name="Skerrow")
    chamber = make.chamber(site)
    make.lock(chamber)
    make.bank(site, minimum_pressure="14")
    make.equipment(site)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto("/sign-in/")
    page.fill("input[name=username]", make.user(site, SiteRole.DIRECTOR).username)
    page.fill("input[name=password]", make.PASSWORD)
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/skerrow/**")
    return page


@pytest.mark.parametrize(
    "path", ["log", "keep/bank", "keep/lock", "keep/equipment", "sheets", "codes", "visits/links", "drills"]
)
def test_on_a_phone_labels_stand_apart_and_targets_are_large_enough(phone: Page, path: str) -> None:
    phone.goto(f"/skerrow/{path}/")
    phone.evaluate("document.fonts.ready")
    assert phone.evaluate(SMALL, THUMB_PX) == []
    assert phone.evaluate(LABELS) == []
    assert phone.evaluate(LINES) == []


@pytest.mark.parametrize("width", [320, 344, 360, 380])
def test_the_head_of_a_page_fits_a_narrow_phone_with_its_three_lights(phone: Page, width: int) -> None:
    """320 px: WCAG 2.2, 1.4.10, reflow."""
    phone.set_viewport_size({"width": width, "height": 740})
    for path in ("/skerrow/now/", "/worksheets/"):
        phone.goto(path)
        phone.evaluate("document.fonts.ready")
        assert phone.evaluate("document.documentElement.scrollWidth") <= width
        assert phone.evaluate(SMALL, THUMB_PX) == []
