"""Walking a check in a browser: keypad, wet hands, a lost line, nothing left on a shared tablet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Error

from facility.compute.sheets import Typed
from facility.models import Answer, Check
from tests import make
from tests.walk.walking import World, begin, give, world

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

pytestmark = pytest.mark.django_db(transaction=True)
LOOKS = [{"key": f"look-{n}", "group": "Doors", "kind": "look", "text": f"Look {n}"} for n in range(1, 5)]
GHOST_MS = 700  # longer than the time in which the page takes a second tap for a ghost


def open_station(page: Page, w: World, check: Check) -> str:
    """Sign the supervisor in by cookie and open the first station."""
    client = Client()
    client.force_login(w.user)
    cookie: Any = {"name": settings.SESSION_COOKIE_NAME, "value": client.cookies[settings.SESSION_COOKIE_NAME].value}
    page.goto(reverse("accounts:login"))
    page.context.add_cookies([cookie | {"url": page.evaluate("location.origin")}])
    address = reverse("walk:station", args=[w.site.key, check.pk, 1])
    page.goto(address)
    page.wait_for_selector("html.scripted")
    return address


def stored() -> list[tuple[str, str, str]]:
    return list(Answer.objects.order_by("pk").values_list("step", "value", "outcome"))


def wait_empty(page: Page) -> bool:
    """Return whether the device came to keep nothing. (The page's policy forbids Playwright's own waiting.)"""
    for _ in range(50):
        try:
            if page.evaluate("localStorage.length") == 0:
                return True
        except Error:  # the page is just loading itself anew
            pass
        page.wait_for_timeout(100)
    return False


@pytest.mark.parametrize("size", [(1180, 820), (820, 1180), (360, 740)], ids=lambda size: f"{size[0]}x{size[1]}")
def test_a_station_has_no_barriers_and_does_not_scroll_sideways(
    page: Page, barriers: Callable[[Page], list[str]], size: tuple[int, int]
) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    w = world()
    open_station(page, w, begin(w))
    assert barriers(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    for key in page.locator(".pad button:visible").all():
        box = key.bounding_box()
        assert box is not None
        assert box["height"] >= 60


@pytest.mark.parametrize("width", [1180, 360])
def test_the_pages_beside_the_walk_have_no_barriers(
    page: Page, barriers: Callable[[Page], list[str]], width: int
) -> None:
    w = world()
    check = begin(w)
    give(w, check, "supply", Typed(value="6.9"))
    w.user.memberships.update(role="director")
    open_station(page, w, check)
    page.set_viewport_size({"width": width, "height": 800})
    version = [w.sheet.pk, 1]
    pages = [
        ("log", []), ("every", []), ("start", [w.sheet.pk]), ("sign", [check.pk]), ("give_up", [check.pk]), ("sheets", []),
        ("sheet", [w.sheet.pk]), ("edit", [w.sheet.pk]), ("blank", version), ("paper", version), ("check", [check.pk]),
        ("correct", [check.pk, Answer.objects.get().pk]),
    ]  # fmt: skip
    found = {}
    for name, args in pages:
        page.goto(reverse(f"walk:{name}", args=[w.site.key, *args]))
        found[name] = barriers(page)
        if page.evaluate("document.documentElement.scrollWidth > window.innerWidth") and name != "blank":
            found[name].append("scrolls sideways")
    assert found == {name: [] for name, _args in pages}


def test_a_reading_half_typed_outlives_what_is_sent_meanwhile(page: Page, faults: list[str]) -> None:
    w = world(steps=[make.STEPS[1] | {"key": key} for key in ("a", "b")])
    open_station(page, w, begin(w))
    page.route("**/answer/", lambda route: route.abort())
    page.keyboard.type("8.1")
    page.keyboard.press("Enter")
    page.wait_for_selector("#outbox:visible")
    page.keyboard.type("8.")
    page.unroute("**/answer/")
    page.locator("[data-send]").click()
    assert wait_empty(page)
    page.wait_for_timeout(500)
    assert page.locator("#s-b input[name=value]").input_value() == "8."
    page.keyboard.type("2")
    page.keyboard.press("Enter")
    page.wait_for_selector("#s-b.past")
    assert stored() == [("a", "8.1", "good"), ("b", "8.2", "good")]
    faults[:] = [fault for fault in faults if "ERR_FAILED" not in fault]


def test_digits_and_enter_record_and_go_on(page: Page) -> None:
    w = world(steps=[make.STEPS[1] | {"key": "a"}, make.STEPS[1] | {"key": "b"}])
    open_station(page, w, begin(w))
    page.keyboard.type("8,1")
    page.keyboard.press("Enter")
    page.wait_for_selector("#s-b.on")
    page.locator("[data-digit='6']").click()
    page.locator("[data-digit='.']").click()
    page.locator("[data-digit='9']").click()
    page.locator("[data-go]").click()
    page.wait_for_selector("#s-b.bad")
    assert stored() == [("a", "8.1", "good"), ("b", "6.9", "bad")]
    assert page.locator("#s-b .fail").inner_text().startswith("0.6 bar below.")


def test_a_second_tap_of_a_wet_screen_answers_no_second_step(page: Page) -> None:
    w = world(steps=LOOKS)
    open_station(page, w, begin(w))
    tap = "document.querySelector('[data-pad-words] button').click()"
    page.evaluate(tap)
    page.wait_for_selector("#s-look-2.on")
    page.evaluate(tap)
    page.wait_for_timeout(GHOST_MS)
    assert stored() == [("look-1", "", "good")]
    page.evaluate(tap)
    page.wait_for_selector("#s-look-3.on")
    assert len(stored()) == 2


def test_enter_alone_ticks_nothing(page: Page, faults: list[str]) -> None:
    w = world(steps=LOOKS)
    open_station(page, w, begin(w))
    page.keyboard.press("Enter")
    page.wait_for_selector("#s-look-1 .refusal:visible")
    assert stored() == []
    faults[:] = [fault for fault in faults if "422" not in fault]  # the refusal itself, told by the browser's console


def test_without_the_line_readings_are_kept_counted_and_sent_once(page: Page, faults: list[str]) -> None:
    w = world(steps=[make.STEPS[1] | {"key": key} for key in ("a", "b", "c")])
    check = begin(w)
    open_station(page, w, check)
    page.route("**/answer/", lambda route: route.abort())
    for text in ("8.1", "8.2"):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
        page.wait_for_timeout(300)
    assert stored() == []
    assert page.locator("[data-unsent]").inner_text() == "2"
    assert "2 kept here, not sent" in page.locator("#outbox").inner_text()
    kept = page.evaluate("JSON.stringify(localStorage)")
    assert w.user.last_name not in kept
    assert w.second.name not in kept
    page.unroute("**/answer/")
    page.locator("[data-send]").click()
    assert wait_empty(page)
    page.wait_for_selector("#s-c.on")  # the page loads itself anew once they are taken
    assert stored() == [("a", "8.1", "good"), ("b", "8.2", "good")]
    faults[:] = [fault for fault in faults if "ERR_FAILED" not in fault]  # the lost line itself


def test_what_the_box_stored_without_its_answer_arriving_is_stored_once(page: Page, faults: list[str]) -> None:
    w = world(steps=[make.STEPS[1] | {"key": key} for key in ("a", "b")])
    address = open_station(page, w, begin(w))

    def lose_the_answer(route: Any) -> None:
        route.fetch()
        route.abort()

    page.route("**/answer/", lose_the_answer)
    page.keyboard.type("8.1")
    page.keyboard.press("Enter")
    page.wait_for_selector("#outbox:visible")
    page.unroute("**/answer/")
    page.goto(address)
    assert wait_empty(page)
    assert stored() == [("a", "8.1", "good")]
    faults[:] = [fault for fault in faults if "ERR_FAILED" not in fault]  # the lost answer itself


def test_signing_out_warns_once_and_then_leaves_nothing(page: Page, faults: list[str]) -> None:
    w = world(steps=[make.STEPS[1] | {"key": "a"}, make.STEPS[1] | {"key": "b"}])
    open_station(page, w, begin(w))
    page.route("**/answer/", lambda route: route.abort())
    page.keyboard.type("8.1")
    page.keyboard.press("Enter")
    page.wait_for_selector("#outbox:visible")
    leave = page.locator("form[data-forget] button")
    leave.click()
    assert "Sign out once more to throw them away" in page.locator("#outbox").inner_text()
    leave.click()
    page.wait_for_url("**/sign-in/**")
    assert page.evaluate("localStorage.length") == 0
    faults[:] = [fault for fault in faults if "ERR_FAILED" not in fault]
