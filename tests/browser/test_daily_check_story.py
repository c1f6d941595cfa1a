"""The main job as its user does it: walk the check, fail a reading, raise the defect, sign, read the answer.

The expected change follows from the sheet: a step that stops, failed, makes the signed check fail,
and a plan that rests on that check is then not ready (the newest check counts, failed is bad).
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from facility.accounts.demo import DEMO_PASSWORD
from facility.compute.sheets import Step, parse_steps
from facility.demo.loading import load, zone_of_set
from facility.models import Check, CheckSheet, Event
from facility.record_check import verify
from maintenance.models import BankReading, Defect

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page
    from pytest_django import Settings

    from facility.models import Site

pytestmark = pytest.mark.django_db(transaction=True)

SIZES = {"phone": (360, 740), "tablet": (1180, 820)}
#: the page lets no second tap through this soon after an answer
GHOST_MS = 650
FAILED = "fire-water-pressure"
RESTS_ON_CHECK = "table-6"


@pytest.fixture
def site(transactional_db: None, settings: Settings, tmp_path: Path) -> Site:
    """Return the demo's site, loaded as of today into a folder of its own."""
    settings.DATA_DIR = tmp_path
    settings.EVIDENCE_DIR = tmp_path / "evidence"
    return load(timezone.now().astimezone(zone_of_set()).date()).site


def steps_of(site: Site) -> tuple[Step, ...]:
    """Return the steps of the daily sheet in force."""
    sheet = CheckSheet.objects.get(chamber__site=site, key="daily")
    return parse_steps(sheet.versions.get(retired_at=None).steps)


def within(step: Step) -> str:
    """Return a reading inside the step's limits."""
    low, high = step.low, step.high
    if low is not None and high is not None:
        return str((low + high) / 2)
    return str(low if low is not None else high if high is not None else Decimal(10))


def sign_in(page: Page) -> None:
    """Sign in as the supervisor of the demo."""
    page.goto(reverse("accounts:login"))
    page.fill("[name=username]", "supervisor")
    page.fill("[name=password]", DEMO_PASSWORD)
    page.press("[name=password]", "Enter")
    page.wait_for_url("**/now/**")


def answer(page: Page, step: Step, value: str) -> None:
    """Answer one step by its own form: a reading typed, a look or a choice pressed."""
    if not step.is_reading:
        page.wait_for_timeout(GHOST_MS)
    item = page.locator(f"#s-{step.key}")
    second = item.locator("select[name=second_person], select[name=second]")
    if second.count():
        second.first.select_option(index=1)
    with page.expect_response(lambda reply: "/answer/" in reply.url) as reply:
        if step.is_reading:
            item.locator("input[name=value]").fill(value)
            item.locator("input[name=value]").press("Enter")
        elif step.choices:
            item.locator("button[name=choice]").first.evaluate("button => button.click()")
        else:
            item.locator("button[name=outcome][value=good]").first.evaluate("button => button.click()")
    assert reply.value.status in (200, 201, 302), (step.key, reply.value.status)


def walk(page: Page, site: Site, check_barriers: Callable[[str], None]) -> Check:
    """Walk all stations of a new daily check; one reading of fire water is far too low."""
    page.goto(reverse("walk:log", args=[site.key]))
    page.get_by_role("link", name="Daily check", exact=True).first.click()
    page.get_by_role("button", name="Begin the check").click()
    check = Check.objects.get(state="open")
    steps = steps_of(site)
    for place, group in enumerate(dict.fromkeys(step.group for step in steps), 1):
        page.goto(reverse("walk:station", args=[site.key, check.pk, place]))
        for step in (one for one in steps if one.group == group):
            answer(page, step, "0.1" if step.key == FAILED else within(step))
            if step.key == FAILED:
                assert page.locator(f"#s-{FAILED} .fail").inner_text()
        check_barriers(group)
    return check


def state_of(page: Page, site: Site) -> dict[str, Any]:
    """Return what the JSON answer says of the plan that rests on the check."""
    found = page.request.get(reverse("readiness:api", args=[site.key])).json()
    plan: dict[str, Any] = next(one for one in found["plans"] if one["plan"] == "Table 6")
    return plan


def sign(page: Page, check: Check) -> None:
    """Sign on the page that looks back: refused with a wrong password, kept with the right one."""
    assert page.locator(f"#b-{FAILED}").count() == 1
    page.fill("#id_password", "not the password")
    page.get_by_role("button", name="Sign this check").click()
    page.wait_for_selector("#password-error")
    assert Check.objects.get(pk=check.pk).state == "open"
    page.fill("#id_password", DEMO_PASSWORD)
    page.get_by_role("button", name="Sign this check").click()
    page.wait_for_selector("#id_password", state="detached")
    signed = Check.objects.get(pk=check.pk)
    assert (signed.state, signed.result) == ("signed", "failed")


@pytest.mark.parametrize("size", SIZES)
def test_a_failed_reading_of_the_daily_check_changes_the_answer_with_its_reason(
    page: Page, site: Site, barriers: Callable[[Page], list[str]], faults: list[str], size: str
) -> None:
    width, height = SIZES[size]
    page.set_viewport_size({"width": width, "height": height})

    def clean(where: str) -> None:
        assert barriers(page) == [], where
        assert not page.evaluate("document.documentElement.scrollWidth > innerWidth"), where

    sign_in(page)
    clean("now, before")
    assert "daily-check" not in state_of(page, site)["in_the_way"]
    check = walk(page, site, clean)
    assert BankReading.objects.filter(answer__check_done=check).exists()
    page.goto(reverse("walk:sign", args=[site.key, check.pk]))
    clean("look back")
    sign(page, check)
    clean("signed")

    after = state_of(page, site)
    assert after["state"] == "Not ready"
    assert "daily-check" in after["in_the_way"]
    page.goto(reverse("readiness:now", args=[site.key]))
    clean("now, after")
    assert page.locator("h1").inner_text() == "No table can start now."
    page.goto(reverse("readiness:why", args=[site.key, site.chambers.get().key, RESTS_ON_CHECK]))
    clean("why")
    assert "Not ready" in page.locator("main").inner_text()
    assert verify().ok
    faults[:] = [fault for fault in faults if "status of 422" not in fault]  # the wrong password, on purpose


def test_a_failed_reading_leads_to_a_defect_that_takes_its_item_out(page: Page, site: Site) -> None:
    sign_in(page)
    page.goto(reverse("walk:log", args=[site.key]))
    page.get_by_role("link", name="Daily check", exact=True).first.click()
    page.get_by_role("button", name="Begin the check").click()
    check = Check.objects.get(state="open")
    step = next(one for one in steps_of(site) if one.key == FAILED)
    place = list(dict.fromkeys(one.group for one in steps_of(site))).index(step.group) + 1
    page.goto(reverse("walk:station", args=[site.key, check.pk, place]))
    answer(page, step, "0.1")
    page.locator(f"#s-{FAILED} .fail a.main").click()
    page.wait_for_load_state()
    before = Defect.objects.count()
    page.locator("main form button.main").first.click()
    page.wait_for_load_state()
    assert Defect.objects.count() == before + 1
    defect = Defect.objects.order_by("-pk")[0]
    assert defect.answer is not None
    assert defect.answer.check_done_id == check.pk
    assert Event.objects.filter(subject_kind="maintenance.defect", subject_id=defect.pk).count() == 1


def test_readings_entered_while_the_line_is_cut_are_kept_and_stored_once(
    page: Page, site: Site, faults: list[str]
) -> None:
    sign_in(page)
    page.goto(reverse("walk:log", args=[site.key]))
    page.get_by_role("link", name="Daily check", exact=True).first.click()
    page.get_by_role("button", name="Begin the check").click()
    check = Check.objects.get(state="open")
    page.goto(reverse("walk:station", args=[site.key, check.pk, 2]))
    readings = [one for one in steps_of(site) if one.is_reading and one.group.startswith("Air")]
    page.context.set_offline(True)
    for step in readings:
        item = page.locator(f"#s-{step.key}")
        item.locator("input[name=value]").fill(within(step))
        item.locator("input[name=value]").press("Enter")
    expect(page.locator("[data-unsent]")).to_have_text(str(len(readings)))
    assert check.answers.count() == 0
    page.context.set_offline(False)
    expect(page.locator("[data-unsent]")).to_have_text("0")
    assert check.answers.count() == len(readings)
    assert check.answers.values("step").distinct().count() == len(readings)
    faults[:] = [fault for fault in faults if "ERR_INTERNET_DISCONNECTED" not in fault]  # cut on purpose
