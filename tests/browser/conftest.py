"""A real browser against a real server: Debian's Chromium, steered by Playwright, checked with axe-core.

Whatever a page asks of another host is refused and fails the test: the app must work
where there is no internet.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import axe_playwright_python
import pytest
from playwright.sync_api import sync_playwright

from facility.project import bootstrap

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from playwright.sync_api import Browser, Page
    from pytest_django.live_server_helper import LiveServer

AXE = Path(axe_playwright_python.__file__).parent / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark every test of this folder, so that none runs where there is no browser."""
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Start the browser once."""
    if reason := bootstrap.no_browser():
        pytest.skip(reason)
    path = bootstrap.browser()
    # Playwright's loop runs in this thread; Django must not take the tests' own queries for a view's
    with pytest.MonkeyPatch.context() as patch, sync_playwright() as playwright:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
        flags = ["--no-sandbox"] if os.geteuid() == 0 else []
        browser = playwright.chromium.launch(executable_path=path, args=flags)
        yield browser
        browser.close()


@pytest.fixture
def faults() -> list[str]:
    """Collect script errors, refusals of the content policy, and requests to other hosts."""
    return []


@pytest.fixture
def page(chromium: Browser, live_server: LiveServer, faults: list[str]) -> Iterator[Page]:
    """Open a page whose links start at the live server; fail on script errors and on strangers' hosts."""
    context = chromium.new_context(base_url=live_server.url, viewport={"width": 1024, "height": 768})
    context.set_default_timeout(10_000)
    page = context.new_page()
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("request", lambda request: faults.append(request.url) if _is_strange(request.url, live_server) else None)
    yield page
    context.close()
    assert faults == []


def _is_strange(url: str, live_server: LiveServer) -> bool:
    return not url.startswith((live_server.url, "data:", "blob:", "about:"))


@pytest.fixture
def barriers(faults: list[str]) -> Callable[[Page], list[str]]:
    """Return a function that names what axe-core finds in a page against WCAG 2.2 levels A and AA."""
    source = AXE.read_text(encoding="utf-8")

    def find(page: Page) -> list[str]:
        before = list(faults)
        page.evaluate(source)
        found: dict[str, Any] = page.evaluate("rules => axe.run({runOnly: rules, preload: false})", RULES)
        faults[:] = before  # what axe itself asks of the page is none of the page's faults
        return [f"{fault['id']}: {node['html'][:160]}" for fault in found["violations"] for node in fault["nodes"]]

    return find
