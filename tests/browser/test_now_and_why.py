"""Now, Why and a form in a real browser, drawn from made-up values: barriers, overflow, light, drafts, old words."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.urls("tests.facility.readiness_pages.pages_urls")]
SIZES = [(360, 740), (820, 1180), (1180, 820)]
PAGES = ["/now/", "/empty/", "/why/1/", "/why/2/", "/form/", "/sign-in/"]
#: what reaches beyond the right edge; pictures and hidden words are not meant
WIDER = """() => [...document.querySelectorAll('body *')].filter(e => !e.closest('.vh, .skip, svg')
  && e.getBoundingClientRect().right > document.documentElement.clientWidth + 1).map(e => e.outerHTML.slice(0, 120))"""


def lit(page: Page, mode: str, size: tuple[int, int], address: str) -> None:
    """Open an address in one light at one size."""
    base = page.evaluate("location.origin") if page.url != "about:blank" else None
    if base is None:
        page.goto("/sign-in/")
        base = page.evaluate("location.origin")
    page.context.add_cookies([{"name": "light", "value": mode, "url": base}])
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(address)


@pytest.mark.parametrize("mode", ["day", "dim", "night"])
@pytest.mark.parametrize("size", SIZES)
def test_pages_have_no_barrier_and_nothing_runs_off_the_sheet(
    page: Page, barriers: Callable[[Page], list[str]], mode: str, size: tuple[int, int]
) -> None:
    for address in PAGES:
        lit(page, mode, size, address)
        assert page.evaluate("document.documentElement.dataset.mode") == mode
        assert barriers(page) == [], address
        assert page.evaluate(WIDER) == [], address


def test_the_phone_layout_holds_at_four_hundred_per_cent(page: Page) -> None:
    for address in PAGES:  # WCAG 2.2, 1.4.10: 320 CSS px wide
        lit(page, "day", (320, 640), address)
        assert page.evaluate(WIDER) == [], address


def test_the_light_changes_at_once_and_nothing_typed_is_lost(page: Page) -> None:
    page.goto("/form/")
    page.fill("textarea", "hiss at the outer door")
    page.get_by_role("button", name="Red").click()
    assert page.evaluate("document.documentElement.dataset.mode") == "night"
    assert page.input_value("textarea") == "hiss at the outer door"


def test_what_was_typed_is_back_after_the_page_was_lost(page: Page) -> None:
    page.goto("/form/")
    page.fill("textarea", "hiss at the outer door")
    page.select_option("select", "b")
    page.check("input[type=checkbox]")
    page.goto("/now/")
    page.goto("/form/")
    assert page.input_value("textarea") == "hiss at the outer door"
    assert page.input_value("select") == "b"
    assert page.is_checked("input[type=checkbox]")
    assert "not stored yet" in page.inner_text(".kept")


def test_a_refused_form_leads_to_its_errors_and_keeps_the_draft(page: Page, faults: list[str]) -> None:
    page.goto("/form/")
    page.fill("textarea", "hiss")
    page.evaluate("document.querySelectorAll('form.formcol [required]').forEach(f => f.removeAttribute('required'))")
    page.get_by_role("button", name="Record").click()
    assert page.title().startswith("Error:")
    assert page.evaluate("document.activeElement.matches('.errors')")
    page.click(".errors a")
    assert page.evaluate("document.activeElement.name") == "reading"
    assert page.evaluate("Object.keys(sessionStorage).some(k => k.startsWith('draft:'))")
    faults[:] = [one for one in faults if "422" not in one]  # the browser itself notes the refusal


def test_an_accepted_form_clears_its_draft(page: Page) -> None:
    page.goto("/form/")
    page.fill("textarea", "hiss")
    page.fill("input[name=reading]", "7.5")
    page.get_by_role("button", name="Record").click()
    page.wait_for_url(re.compile("/now/"))
    page.goto("/form/")
    assert page.input_value("textarea") == ""
    assert page.locator(".kept").count() == 0


def test_without_connection_the_form_is_not_sent_and_the_page_says_so(page: Page) -> None:
    page.goto("/form/")
    page.fill("textarea", "hiss")
    page.fill("input[name=reading]", "7.5")
    page.context.set_offline(True)
    page.get_by_role("button", name="Record").click()
    assert "not updated since" in page.inner_text("#offline")
    assert page.input_value("textarea") == "hiss"
    page.context.set_offline(False)


def test_a_word_past_its_end_turns_to_not_known(page: Page) -> None:
    page.goto("/ending/")
    row = page.locator("article", has=page.get_by_text("Table 6", exact=True))
    row.locator("s.was").wait_for()
    assert row.locator(".word").inner_text() == "Not known"
    assert row.locator("s.was").inner_text() == "Ready with limits"
    assert str(row.locator("svg.mark use").first.get_attribute("href")).endswith("#unknown")
    assert page.locator("h1.stale").count() == 1
    other = page.locator("article", has=page.get_by_text("Table 5", exact=True))
    assert other.locator(".word").inner_text() == "Ready"  # its own end is still ahead


def test_a_page_that_could_not_be_renewed_shows_where_now_is(page: Page) -> None:
    page.goto("/now/")
    assert page.locator(".nowline").count() == 0
    page.context.set_offline(True)
    page.evaluate(
        "document.querySelector('[data-clock]').dataset.asOf = new Date("
        "Date.parse(document.querySelector('[data-clock]').dataset.clock) - 720 * 60000).toISOString()"
    )
    page.locator(".nowline").first.wait_for(state="attached")
    # by hand: twelve hours are half of the 24 hours that stand on 66 % of the width
    assert float(str(page.locator(".nowline").first.get_attribute("x1")).rstrip("%")) == pytest.approx(33, abs=0.1)
    page.context.set_offline(False)
