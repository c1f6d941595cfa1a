"""A director on a phone adds ways of notices and tries them: all is reached, nothing runs off, the secret is shown once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import expect

from facility.models import Delivery, NoticeWay, SiteRole
from tests import make
from tests.notices.sending import servers

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

pytestmark = pytest.mark.django_db(transaction=True)
SCROLLS = "document.documentElement.scrollWidth > document.documentElement.clientWidth + 1"


def sound(page: Page, barriers: Callable[[Page], list[str]]) -> None:
    """Hold that a page has no barrier and does not scroll sideways, on a small phone and on a tablet."""
    for width, height in ((360, 740), (820, 1180)):
        page.set_viewport_size({"width": width, "height": height})
        assert barriers(page) == []
        assert page.evaluate(SCROLLS) is False
    page.set_viewport_size({"width": 360, "height": 740})


def add(page: Page, way: str, address: str, whose: str = "mine") -> None:
    page.check(f"input[name=whose][value={whose}]")
    page.check(f"input[name=way][value={way}]")
    page.fill("input[name=address]", address)
    page.get_by_role("button", name="Add it").click()


def sign_in(page: Page) -> None:
    director = make.user(make.site(key="skerrow", name="Skerrow"), SiteRole.DIRECTOR)
    page.goto("/sign-in/")
    page.fill("input[name=username]", director.username)
    page.fill("input[name=password]", make.PASSWORD)
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/skerrow/**")


def test_ways_are_added_tried_and_retired_on_a_phone(
    page: Page, barriers: Callable[[Page], list[str]], settings: Any
) -> None:
    sign_in(page)
    with servers.web_server() as web:
        settings.NOTICE_LOCAL_ALLOWED = [f"127.0.0.1:{web.port}"]
        page.goto("/skerrow/notices/ways/")
        expect(page.get_by_text("No e-mail leaves this box.")).to_be_visible()
        add(page, "webhook", web.at("/a-long-path/that/must/be/broken/somewhere/on/a/small/phone"), "site")
        secret = NoticeWay.objects.get().secret
        expect(page.get_by_text(secret)).to_be_visible()
        sound(page, barriers)
        page.goto("/skerrow/notices/ways/")
        expect(page.get_by_text(secret)).to_have_count(0)
        add(page, "push", web.at("/a-long-path/that/must/be/broken/somewhere/on/a/small/phone"))
        page.get_by_role("button", name="Send a test push").click()
        expect(page.get_by_text("The far side took the test.")).to_be_visible()
        sound(page, barriers)
    page.get_by_role("button", name="Send a test webhook").click()
    expect(page.get_by_text("The test did not go out.")).to_be_visible()
    assert Delivery.objects.count() == 2
    page.get_by_role("link", name="What went out").click()
    expect(page.get_by_role("heading", name="What went out")).to_be_visible()
    sound(page, barriers)
    page.goto("/skerrow/notices/ways/")
    row = NoticeWay.objects.get(way="push")
    page.fill(f"#why-{row.pk}", "another phone")
    page.get_by_role("button", name="Retire push").click()
    expect(page.get_by_text("retired: another phone")).to_be_visible()
    sound(page, barriers)
