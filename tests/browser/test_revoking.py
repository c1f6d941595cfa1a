"""A director on a phone revokes an address that a stranger reads by: the reason and its button fit, and nothing runs off."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from facility import events
from facility.models import ReadingLink, SiteRole
from facility.visits.services import open_door
from tests import make

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.django_db(transaction=True)
PHONE = {"width": 390, "height": 844}
THUMB_PX = 44  # WCAG 2.2, 2.5.5, target size


def sign_in(page: Page) -> ReadingLink:
    site = make.site(key="skerrow", name="Skerrow")
    now = events.now()
    row, _secret = open_door(
        ReadingLink(site=site, name="Ada Testperson of a long name", opens_at=now, ends_at=now + timedelta(days=3)),
        by=make.BY,
    )
    director = make.user(site, SiteRole.DIRECTOR)
    page.goto("/sign-in/")
    page.fill("input[name=username]", director.username)
    page.fill("input[name=password]", make.PASSWORD)
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/skerrow/**")
    return row


def held(page: Page) -> None:
    """Hold that the reason can be typed in some length, that the button is beside it, and both stand on the screen."""
    field, button = page.locator(".ruled input[name=reason]"), page.get_by_role("button", name="Revoke")
    reason, act = field.bounding_box(), button.bounding_box()
    assert reason is not None
    assert act is not None
    assert reason["width"] >= 4 * THUMB_PX
    assert act["height"] >= THUMB_PX
    assert act["x"] + act["width"] <= PHONE["width"]


def test_a_reading_link_is_revoked_on_a_phone(page: Page) -> None:
    row = sign_in(page)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto("/skerrow/visits/links/")
    held(page)
    expect(page.get_by_text("everything ·")).to_be_visible()
    page.fill(".ruled input[name=reason]", "the visit is over")
    page.get_by_role("button", name="Revoke").click()
    expect(page.get_by_text("revoked: the visit is over")).to_be_visible()
    row.refresh_from_db()
    assert row.retired_at is not None


def test_a_calendar_is_revoked_on_a_phone(page: Page) -> None:
    sign_in(page)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto("/skerrow/calendars/")
    page.check("main input[type=radio] >> nth=1")
    page.get_by_role("button", name="Make it").click()
    held(page)
