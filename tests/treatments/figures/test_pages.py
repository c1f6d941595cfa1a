"""Pages of what a run computes, as a supervisor sees them."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import pytest
from django.test import Client
from django.urls import reverse

from facility import events
from tests import make
from tests.treatments.figures.story import LEFT, run_of, table_six

if TYPE_CHECKING:
    from facility.models import Site
    from treatments.models import Run

pytestmark = pytest.mark.django_db
SVG = "{http://www.w3.org/2000/svg}"


def client(site: Site) -> Client:
    found = Client()
    found.force_login(make.supervisor(site), backend="django.contrib.auth.backends.ModelBackend")
    return found


def address(name: str, run: Run) -> str:
    return reverse(f"treatments:{name}", args=[run.chamber.site.key, run.pk])


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(events, "now", lambda: LEFT + timedelta(hours=7))


@pytest.mark.usefixtures("later")
def test_every_sum_stands_on_the_page_with_formula_source_and_caution() -> None:
    run, _people = table_six()
    page = client(run.chamber.site).get(address("figures", run)).content.decode()
    for anchor in (
        "clock", "stops", "conformity", "oxygen", "dose", "tender-oxygen", "waits", "co2", "ventilation", "temperature",
        "gas", "picture-table",
    ):  # fmt: skip
        assert page.count(f'id="{anchor}"') == 1
        assert f'href="#{anchor}"' in page
    assert "33 fsw = 1 ata" in page
    assert "chooses no table, no dose and no decompression" in page
    assert "U.S. Navy Diving Manual, revision 4 with change A, 1999" in page
    assert "unconfirmed" in page
    assert "outside the table" in page
    assert "No departure beyond the tolerances." in page
    assert "29 Mar 2026 04:13:00 +02:00" in page  # 12 h after 14:13 UTC, Oslo's clocks gone forward in between


@pytest.mark.usefixtures("later")
def test_the_figures_go_out_as_json_for_a_check_from_outside() -> None:
    run, _people = table_six()
    found = json.loads(client(run.chamber.site).get(address("figures_json", run)).content)
    assert found["zone"] == "Europe/Oslo"
    assert found["ended_at"] == "2026-03-28T14:13:00+00:00"
    assert found["people"][0]["dose"]["uptd"] == pytest.approx(718, rel=0.005)  # published, from memory
    assert found["people"][0]["dose"]["cns_fraction"] is None
    assert found["extensions"] == {"60": 1}
    assert found["conformity"]["found"] == []
    assert set(found["ventilation"]["asked_scf"]) == {
        "at work, no dump", "at work, dump", "at rest, no dump", "at rest, dump",
    }  # fmt: skip


def test_the_screen_of_a_running_log_asks_for_the_short_form(monkeypatch: pytest.MonkeyPatch) -> None:
    run, _people = table_six(until=90)
    monkeypatch.setattr(events, "now", lambda: LEFT + timedelta(minutes=91))
    found = json.loads(client(run.chamber.site).get(address("figures_json", run) + "?short").content)
    first = found["next_events"][0]
    assert (first["due"], first["who"], first["seconds_to_go"]) == ("oxygen off", ["patient 1"], 7 * 60)
    assert [(one["label"], one["on_oxygen"]) for one in found["people"]] == [("patient 1", True), ("A. Berg", False)]
    assert "segments" not in found


@pytest.mark.usefixtures("later")
def test_the_picture_is_well_formed_without_style_or_script() -> None:
    run, _people = table_six()
    answer = client(run.chamber.site).get(address("picture", run), {"width": "1200"})
    assert answer["Content-Type"] == "image/svg+xml"
    root = ET.fromstring(answer.content)  # noqa: S314 - our own drawing
    assert root.get("width") == "1200"
    names = {one.tag.removeprefix(SVG) for one in root.iter()}
    assert names <= {"svg", "title", "desc", "line", "polyline", "rect", "path", "text"}
    assert not [one for one in root.iter() if "style" in one.attrib or any(key.startswith("on") for key in one.attrib)]


@pytest.mark.usefixtures("later")
@pytest.mark.parametrize("width", ["", "abc", "0", "99999999999", "-3", "²"])
def test_a_width_that_is_none_still_gives_a_picture(width: str) -> None:
    run, _people = table_six()
    answer = client(run.chamber.site).get(address("picture", run), {"width": width})
    root = ET.fromstring(answer.content)  # noqa: S314 - our own drawing
    assert 320 <= int(root.get("width", "0")) <= 2400


@pytest.mark.usefixtures("later")
def test_a_name_with_markup_stays_text_in_the_picture() -> None:
    run, people = table_six()
    people["a"].label = '<b>&"A'
    people["a"].save(update_fields=["label"])
    page = client(run.chamber.site).get(address("picture", run)).content.decode()
    assert "<b>" not in page
    assert "&lt;b&gt;" in page


@pytest.mark.usefixtures("later")
def test_a_run_that_has_not_left_surface_shows_its_table_and_no_times() -> None:
    run = run_of(left=None)
    page = client(run.chamber.site).get(address("figures", run)).content.decode()
    assert "The table with its extensions" in page
    found = json.loads(client(run.chamber.site).get(address("figures_json", run)).content)
    assert (found["started_at"], found["next_events"], found["people"]) == (None, [], [])


@pytest.mark.usefixtures("later")
def test_a_run_without_a_table_compares_nothing_and_says_so() -> None:
    run = run_of(key="")
    page = client(run.chamber.site).get(address("figures", run)).content.decode()
    assert "This run follows no table" in page


@pytest.mark.usefixtures("later")
def test_the_run_of_another_site_is_not_found() -> None:
    run, _people = table_six()
    other = make.site()
    found = client(other).get(reverse("treatments:figures", args=[other.key, run.pk]))
    assert found.status_code == 404
