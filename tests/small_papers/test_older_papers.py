"""The papers that live with their own pages: their foot names the newest event, and Letter is a choice."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from facility import events
from facility.models import Event, Site, SiteRole
from facility.papers.printing import of_size, size_asked
from facility.report.sealing_check import faults_of
from tests import make
from tests.facility.readiness_db import build
from tests.small_papers.reading import signed_in, sizes_of, text_of
from treatments.models import Run

pytestmark = pytest.mark.django_db
#: ISO 216 and ANSI/ASME Y14.1, in points of 1/72 inch
A4, LETTER = (595, 842), (612, 792)


@pytest.fixture
def site() -> Site:
    """Return a site with a run that has ended."""
    site = make.site(zone="Europe/Oslo")
    start = make.NOON - timedelta(days=2)
    plan = build.plan(make.chamber(site), "five")
    build.run(plan, start, start + timedelta(hours=1), start + timedelta(hours=1))
    return site


def _papers(site: Site) -> dict[str, str]:
    run, person = Run.objects.get(chamber__site=site), make.person(site)
    return {
        "statement": f"/{site.key}/availability.pdf", "record": f"/{site.key}/runs/{run.pk}/record.pdf",
        "log": f"/{site.key}/crew/{person.pk}/personal-log.pdf",
    }  # fmt: skip


@pytest.mark.parametrize("which", ["statement", "record", "log"])
def test_the_foot_names_the_newest_event_and_letter_is_a_choice(which: str, site: Site) -> None:
    address = _papers(site)[which]
    client = signed_in(make.user(site, SiteRole.SUPERVISOR))
    newest = Event.objects.order_by("-seq")[0].seq
    pdf = client.get(address).content
    assert sizes_of(pdf) == {A4}
    assert faults_of(pdf) == []
    assert f"newest event {newest} page 1 / " in text_of(pdf)
    assert sizes_of(client.get(address, {"size": "Letter"}).content) == {LETTER}


@pytest.mark.parametrize(("asked", "rule"), [({}, "A4"), ({"size": "Letter"}, "letter"), ({"size": "A0;}x{"}, "A4")])
def test_another_sheet_than_there_is_becomes_a4_and_never_part_of_the_style(
    asked: dict[str, str], rule: str, rf: Any
) -> None:
    assert of_size(size_asked(rf.get("/", asked))) == f"@page {{ size: {rule}; }}\n"


def test_the_number_of_the_newest_event_is_nought_before_the_first() -> None:
    assert events.newest_seq() == 0
    make.site()
    assert events.newest_seq() == Event.objects.count()
