"""Text typed to do harm, in every field of every record, on the pages of a real browser: it is shown, and nothing of it runs."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import pytest

from facility.models import SiteRole
from tests import make
from tests.browser.test_every_page import kind_of, linked
from tests.pack.filling import fill

if TYPE_CHECKING:
    from playwright.sync_api import Dialog, Page

    from facility.models import User

pytestmark = pytest.mark.django_db(transaction=True)

HOSTILE = "<img src=x onerror=alert(1)>"
MOST = 40
PATIENCE_MS = 60_000
BROKEN = 500


def sign_in(page: Page, user: User) -> None:
    page.set_default_timeout(PATIENCE_MS)
    page.goto("/sign-in/")
    page.fill("input[name=username]", user.username)
    page.fill("input[name=password]", make.PASSWORD)
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/now/")


def test_script_in_every_name_is_shown_as_text_and_none_of_it_runs(page: Page, faults: list[str]) -> None:
    """No dialog opens, and the content policy has nothing to refuse: the browser never took a word for an element."""
    site = fill(HOSTILE).site
    user = make.user(site, SiteRole.DIRECTOR)
    opened: list[str] = []

    def close(dialog: Dialog) -> None:
        opened.append(dialog.message)
        dialog.dismiss()

    page.on("dialog", close)
    sign_in(page, user)
    waiting = [f"/{site.key}/{place}/" for place in ("now", "plant", "people", "records")]
    seen, broken, shown = Counter[str](), set[str](), 0
    while waiting and seen.total() < MOST:
        address = waiting.pop(0)
        if seen[kind_of(address)]:
            continue
        seen[kind_of(address)] += 1
        answer = page.goto(address)
        assert answer is not None
        if answer.status == BROKEN:
            broken.add(kind_of(address))
            continue
        assert page.locator("[onerror]").count() == 0, address
        shown += HOSTILE in page.inner_text("body")
        waiting += linked(page)
    assert shown > 15  # places on which the words stand to be read
    assert opened == []
    # the filling has a table, a sheet, a supplier's days and a choice made of this text, which no service would have stored
    places = ("runs/start", "checks/1", "gas", "gas/samples")
    assert broken <= {kind_of(f"/{site.key}/{place}/") for place in places}
    faults[:] = [one for one in faults if f"a status of {BROKEN}" not in one]
