"""The page that everybody sees first."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from django.urls import reverse

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page


def test_the_page_for_signing_in_is_open_to_everybody(page: Page, barriers: Callable[[Page], list[str]]) -> None:
    page.goto(reverse("accounts:login"))
    assert page.locator("h1").count() == 1
    assert barriers(page) == []


def test_signing_in_needs_no_mouse(page: Page) -> None:
    page.goto(reverse("accounts:login"))
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.name") == "username":
            break
    page.keyboard.type("nobody")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.name") == "password"


def test_a_planted_barrier_is_found(page: Page, barriers: Callable[[Page], list[str]]) -> None:
    page.goto(reverse("accounts:login"))
    page.evaluate("document.body.append(document.createElement('img'))")
    assert any(fault.startswith("image-alt") for fault in barriers(page))


def test_the_page_asks_no_other_host(page: Page) -> None:
    """The page fixture fails on any request to another host, and on any script error."""
    response = page.goto(reverse("accounts:login"))
    assert response is not None
    assert response.status == 200


pytestmark = pytest.mark.django_db(transaction=True)
