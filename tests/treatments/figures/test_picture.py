"""The picture of a run: what is drawn, in one colour, also from a record, and inside a PDF."""

from __future__ import annotations

import logging
import time
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import pytest
from weasyprint import HTML

from tests.treatments.figures.story import LEFT, entry, place, run_of, table_six
from treatments.figures.picture import about, svg
from treatments.figures.shape import Figures, Recorded
from treatments.figures.state import figures_of
from treatments.figures.table import depth_rows, oxygen_rows, reading_rows

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = pytest.mark.django_db
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def whole() -> Figures:
    run, _people = table_six()
    return figures_of(run, LEFT + timedelta(hours=7))


def drawn(text: str, name: str) -> Iterator[ET.Element]:
    return ET.fromstring(text).iter(f"{SVG}{name}")  # noqa: S314 - our own drawing


def test_kinds_of_line_differ_by_dash_and_width_and_never_by_colour_alone(whole: Figures) -> None:
    text = svg(whole, ink="#000")
    curves = {(one.get("stroke-width"), one.get("stroke-dasharray")) for one in drawn(text, "polyline")}
    assert curves == {("1.4", "7 4"), ("3", None)}
    colours = {one.get(key) for name in ("polyline", "line", "rect", "path", "text") for one in drawn(text, name)
               for key in ("fill", "stroke")}  # fmt: skip
    assert colours <= {"#000", "none", None}


def test_each_period_on_oxygen_is_a_filled_bar_of_its_length(whole: Figures) -> None:
    """Seven periods of the patient and one of the second tender; the first, 20 of 313 min, by hand."""
    text = svg(whole, 960, ink="#000")
    bars = [one for one in drawn(text, "rect") if one.get("fill") == "#000" and one.get("height") == "13"]
    assert len(bars) == 8
    plot = 960 - 96 - 14
    assert float(bars[0].get("width", "0")) == pytest.approx(plot * 20 / 313, abs=0.2)


def test_a_record_is_drawn_with_its_peaks_and_its_gaps(whole: Figures) -> None:
    pieces = (("descent", 0.0, 3.0, 0.0, 60.0), ("stop", 3.0, 50.0, 60.0, 60.0), ("gap", 50.0, 60.0, 60.0, 60.0))
    found = replace(whole, recorded=(Recorded(1, "depth sensor", pieces, ()),))
    thin = [one for one in drawn(svg(found), "polyline") if one.get("stroke-width") == "0.8"]
    assert len(thin) == 2
    samples = [(second / 60, 60 + 40 * (second == 7001)) for second in range(18_000)]
    text = svg(found, samples=samples)
    (record,) = [one for one in drawn(text, "polyline") if one.get("stroke-width") == "0.8"]
    points = record.get("points", "").split()
    assert len(points) <= 4 * 960
    assert len({one.split(",")[1] for one in points}) == 2  # the one sample that stands out is still there


def test_departures_are_numbered_where_they_happened() -> None:
    run = run_of()
    place(run, "patient", "patient 1")
    entry(run, 0, "left_surface")
    entry(run, 1, "reached_depth", depth="60")
    found = figures_of(run, LEFT + timedelta(minutes=2))
    assert found.conformity is not None
    assert [str(one.kind) for _who, one in found.conformity.found] == ["fast descent"]
    text = svg(found)
    assert "1 departure from the table" in about(found)
    assert {one.text for one in drawn(text, "text") if one.get("font-weight") == "700"} == {"1", "now"}


def test_the_picture_goes_into_a_pdf_without_a_complaint(whole: Figures, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING, logger="weasyprint"):
        pdf = HTML(string=f"<html><body>{svg(whole, ink='#000')}</body></html>").write_pdf()
    assert pdf is not None
    assert pdf.startswith(b"%PDF")
    assert caplog.records == []


def test_the_table_beside_it_tells_the_same(whole: Figures) -> None:
    depths = depth_rows(whole)
    assert depths[0][0] == "0:00:00"
    assert depths[-1][:1] + depths[-1][2:] == ("5:13:00", "0", "0")
    assert ("1:58:00", "45", "45") in [(one[0], one[2], one[3]) for one in depths]
    assert ("B. Lie", "O2", "4:13:00", "5:13:00") in oxygen_rows(whole)
    assert [one[2] for one in reading_rows(whole)][:3] == ["21.4 %", "0.6 %", "26 °C"]


def test_a_run_before_it_left_surface_is_drawn_as_planned() -> None:
    run = run_of(left=None)
    text = svg(figures_of(run, LEFT))
    assert [one.get("stroke-dasharray") for one in drawn(text, "polyline")] == ["7 4"]


def test_time_to_compute_the_figures_of_a_running_log_leaves_room_for_those_who_watch() -> None:
    """Own design goal, common practice, no source: a fifth of a second of this process, five hours of readings."""
    run, _people = table_six(until=280)
    for minute in range(4, 280, 3):
        entry(run, minute + 0.5, "reading", values={"o2_percent": "21.2", "temperature_c": "26"})
    begun = time.process_time()
    figures_of(run, LEFT + timedelta(minutes=281))
    assert time.process_time() - begun < 0.2
