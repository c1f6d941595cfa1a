"""The figures of a run in a browser: readable on a phone and a tablet, without barriers, in every light."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from facility import events
from tests import make
from tests.treatments.figures.story import LEFT, entry, table_six

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

    from facility.models import User

pytestmark = pytest.mark.django_db(transaction=True)
SIZES = [(390, 844), (1024, 768)]
#: what reaches beyond the right edge, but for what scrolls by itself
WIDER = """() => [...document.querySelectorAll('main *')].filter(e => !e.closest('.vh, svg, table')
  && e.getBoundingClientRect().right > document.documentElement.clientWidth + 1).map(e => e.outerHTML.slice(0, 120))"""


def signed_in(page: Page, account: User) -> None:
    """Put the session of an account into the browser."""
    client = Client()
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    page.goto("/sign-in/")
    origin = page.evaluate("location.origin")
    value = client.cookies[settings.SESSION_COOKIE_NAME].value
    page.context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": origin}])


@pytest.mark.parametrize("size", SIZES)
def test_the_figures_of_a_run_have_no_barrier_and_nothing_runs_off_the_sheet(
    page: Page, barriers: Callable[[Page], list[str]], size: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    run, people = table_six(until=120)
    entry(run, 121, "oxygen_off", people["p"])
    monkeypatch.setattr(events, "now", lambda: LEFT + timedelta(minutes=126))
    account = make.supervisor(run.chamber.site)
    signed_in(page, account)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(reverse("treatments:figures", args=[run.chamber.site.key, run.pk]))
    assert page.locator("figure svg[role=img]").get_attribute("aria-label")
    assert barriers(page) == []
    assert page.evaluate(WIDER) == []
