"""The short code on printed papers: that of the newest signed head, where a reader finds it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse

from facility import events
from facility.models import Checkpoint, SiteRole
from facility.papers import printing
from facility.small_papers.making import Paper, Print, html_of
from facility.trust import checkpoints
from tests import make
from tests.visits.test_findings import client_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("folder")]


@pytest.fixture
def pressed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What the page-maker was given."""
    given: list[str] = []

    def press(html: str, _style: Path, _more: str = "") -> bytes:
        given.append(" ".join(html.split()))
        return b"%PDF"

    monkeypatch.setattr(printing, "pressed", press)
    return given


def code_of(row: Checkpoint) -> str:
    return checkpoints.short_code(bytes(row.root))


def test_a_statement_and_a_personal_log_end_with_the_code_and_how_to_compare_it(
    pressed: list[str], signed: Any
) -> None:
    site = make.site()
    person = make.person(site)
    client = client_of(site, SiteRole.SUPERVISOR)
    row = signed()
    client.get(reverse("readiness:statement", args=[site.key]))
    client.get(reverse("treatments:personal_log", args=[site.key, person.pk]))
    assert len(pressed) == 2
    for html in pressed:
        assert f"Newest signed head of the log: {row.size} events" in html
        assert code_of(row) in html
        assert "/verify/code/" in html


def test_a_small_paper_has_it_too_and_always_the_newest(signed: Any) -> None:
    site = make.site()
    first = signed()
    make.equipment(site)
    last = signed()
    html = html_of(Paper("due", "Due list", "items 1 to 3"), Print(site, events.now(), "Ina Test", last.size))
    assert code_of(last) in html
    assert code_of(first) not in html


def test_a_paper_printed_before_the_first_head_says_nothing_of_one(pressed: list[str]) -> None:
    site = make.site()
    client_of(site, SiteRole.SUPERVISOR).get(reverse("readiness:statement", args=[site.key]))
    assert "signed head" not in pressed[0]
