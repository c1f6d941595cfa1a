"""The blank sheet of a run's log, as the browser prints it."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pikepdf
import pytest
from django.urls import reverse

from facility.models import SiteRole
from tests import make
from tests.treatments.log.support import opened

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_blank_sheet_of_the_log_is_one_page_of_either_paper(page: Page) -> None:
    """ISO 216 A4 and ANSI/ASME Y14.1 Letter, which is 18 mm shorter: a foot alone on a second sheet is a sheet lost."""
    made = opened()
    user = make.user(made.site, SiteRole.SUPERVISOR)
    page.goto("/sign-in/")
    page.fill("input[name=username]", user.username)
    page.fill("input[name=password]", make.PASSWORD)
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/now/")
    page.goto(reverse("treatments:log_paper", args=[made.site.key, made.run.pk]))
    for sheet in ("A4", "Letter"):
        with pikepdf.open(io.BytesIO(page.pdf(format=sheet))) as document:
            assert len(document.pages) == 1, sheet
