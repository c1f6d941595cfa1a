"""A relief valve opens too late: reading, defect, tag, repair, test, tag off, on a phone, without a barrier."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from facility.models import Chamber
from maintenance.models import Defect, Equipment, WorkRecord
from tests import make
from tests.facility.readiness_db import build

pytestmark = pytest.mark.django_db(transaction=True)


def sign_in(page: Page, username: str) -> None:
    page.goto("/sign-in/")
    page.fill("input[name=username]", username)
    page.fill("input[name=password]", make.PASSWORD)
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/now/")


@pytest.fixture
def valve() -> Equipment:
    site = make.site(name="Brenn Sound", zone="Europe/Oslo")
    chamber: Chamber = make.chamber(site)
    item = make.equipment(site, tag="RV-1", name="Relief valve, inner lock", kind="relief_valve")
    spare = make.equipment(site, tag="RV-2", name="Relief valve, outer lock", kind="relief_valve")
    build.plan(chamber, "t6", build.need(chamber, "relief", item, spare, k=2))
    make.user(site, "maintainer", username="fitter")
    make.person(site, name="J. Quill")
    return item


def test_a_valve_that_opens_late_goes_from_the_reading_to_tag_off(
    page: Page, valve: Equipment, barriers: Callable[[Page], list[str]]
) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    sign_in(page, "fitter")
    page.goto(f"/{valve.site.key}/work/record/?equipment={valve.pk}&kind=relief_valve")
    assert barriers(page) == []
    fill = {"r_opened": "6,4", "r_reseated": "5.4", "d_setting": "6"}
    for name, value in fill.items():
        page.locator(f"[name={name}]").fill(value)
    page.locator("[name=r_gag][value=good]").check()
    page.get_by_role("button", name="Record").click()
    expect(page.get_by_role("heading", name="What it would do")).to_be_visible()
    expect(page.get_by_text("Stops: T6, 1 patient, 1 tender.").first).to_be_visible()
    assert barriers(page) == []
    page.locator("[name=effect][value=stops]").check()
    page.get_by_role("button", name="Raise the defect").click()
    expect(page.get_by_role("heading", name="What it does now")).to_be_visible()
    assert barriers(page) == []
    repaired_and_tested(page, barriers)
    assert Defect.objects.get().returned_at is not None
    assert WorkRecord.objects.filter(kind="return_test", result="passed").exists()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def repaired_and_tested(page: Page, barriers: Callable[[Page], list[str]]) -> None:
    """Record the repair, then the test that takes the tag off."""
    page.get_by_role("link", name="Record a repair").click()
    assert barriers(page) == []
    page.locator("[name=what]").fill("New spring.")
    page.locator("[name=done_by]").fill("R. Fitter")
    page.get_by_role("button", name="Record the repair").click()
    page.get_by_role("link", name="Return to service").click()
    assert barriers(page) == []
    page.locator("[name=done]").fill("Opened at 6.0 bar, shut at 5.5 bar.")
    page.locator("[name=result]").select_option("passed")
    page.locator("[name=witness]").select_option(label="J. Quill")
    page.locator("[name=password]").fill(make.PASSWORD)
    page.get_by_role("button", name="Sign and record the test").click()
    expect(page.get_by_text("Returned to service").first).to_be_visible()
    assert barriers(page) == []
