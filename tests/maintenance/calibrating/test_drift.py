"""The drift of a stored history, its proposals and its picture; against scipy and a worked case."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from maintenance.calibrating.history import DAYS_A_MONTH, drift_of, present_interval, proposals
from maintenance.calibrating.plot import NARROW, PAPER, Picture, ticks
from maintenance.calibrating.plot_drift import drift_svg
from maintenance.calibrating.plot_errors import errors_svg
from maintenance.compute.interval_review import Method
from maintenance.models import Equipment
from tests import make
from tests.maintenance.calibrating import support

ERRORS = ("0.02", "0.05", "0.07", "0.11")
DAYS = (date(2022, 5, 1), date(2023, 5, 1), date(2024, 5, 1), date(2025, 5, 1))


def parsed(drawn: str) -> ET.Element:
    """Read a picture of our own."""
    return ET.fromstring(drawn)  # noqa: S314  # drawn here


def drifting() -> Equipment:
    """An instrument with the errors of the worked case, a year apart; own limit 0.16."""
    site = make.site()
    item, by = make.equipment(site), support.certificate(support.reference(site))
    for on, error in zip(DAYS, ERRORS, strict=True):
        support.drifted(item, by, on, error)
    return item


@pytest.mark.django_db
def test_a_drifting_gauge_leaves_its_limit_when_the_line_says() -> None:
    """Errors 0.02, 0.05, 0.07, 0.11 at 0, 12, 24, 36 months, limit 0.16: slope 0.00242 a month, crossing at month 58.

    Slope and its uncertainty also by scipy.stats.linregress on the true days.
    """
    drift = drift_of(drifting())
    assert drift is not None
    assert drift.line is not None
    months = [(on - DAYS[0]).days / DAYS_A_MONTH for on in DAYS]
    theirs = stats.linregress(months, [float(error) for error in ERRORS])
    assert drift.line.slope == pytest.approx(theirs.slope)
    assert drift.line.u_slope == pytest.approx(theirs.stderr)
    assert drift.line.slope == pytest.approx(0.00242, abs=1e-5)
    assert drift.crosses == pytest.approx(58, abs=0.6)
    k = stats.t.ppf(0.975, 2)
    assert drift.crosses_at_earliest is not None
    at = drift.crosses_at_earliest
    assert drift.line.at(at) + k * drift.line.u_at(at) == pytest.approx(0.16, abs=1e-6)
    days = (0.16 - theirs.intercept) / theirs.slope * DAYS_A_MONTH
    assert drift.day(drift.crosses) == DAYS[0] + timedelta(days=int(days))


@pytest.mark.django_db
def test_what_is_in_doubt_or_of_another_unit_is_left_out_of_the_line() -> None:
    item = drifting()
    by = item.calibrations.all()[0].certificate
    support.drifted(item, by, date(2024, 11, 1), "0.09", unit="psi")
    drift = drift_of(item)
    assert drift is not None
    assert [one.found is None for one in drift.entries].count(True) == 1
    assert drift.unit == "bar"


@pytest.mark.django_db
def test_an_adjusted_instrument_goes_on_from_where_it_was_left() -> None:
    item = drifting()
    by = item.calibrations.all()[0].certificate
    left = [{"reference": "4", "up": "4.01"}]
    support.drifted(item, by, date(2026, 5, 1), "0.14", as_left=left, adjusted=True)
    drift = drift_of(item)
    assert drift is not None
    assert drift.line is not None
    assert drift.line.at(drift.last) == pytest.approx(0.01, abs=0.01)
    assert [round(one.level or 0, 3) for one in drift.entries] == [-0.11, -0.08, -0.06, -0.02, 0.01]


@pytest.mark.django_db
def test_each_method_proposes_and_nothing_is_changed() -> None:
    """RP-1 A1, a = 0.10: 12 x 1.1 = 13.2 months; a staircase stays where the error is over 80 % of the limit."""
    item = drifting()
    rule = make.rule(item, months=12)
    drift = drift_of(item)
    assert drift is not None
    assert present_interval(drift) == (12, False)  # the comparisons were made outside the act
    found = {one.method: one.months for one in proposals(drift, item)}
    assert found[Method.SIMPLE_RESPONSE] == pytest.approx(13.2)
    assert found[Method.STAIRCASE] == 18
    assert found[Method.CLASSICAL] is None
    rule.refresh_from_db()
    assert rule.months == 12


@pytest.mark.django_db
def test_an_instrument_never_compared_has_no_drift() -> None:
    assert drift_of(make.equipment()) is None


@pytest.mark.django_db
def test_pictures_are_whole_in_both_sizes_and_on_paper() -> None:
    """Well-formed, with words for those who do not see it, and with a mark and a bar for each reading."""
    item = drifting()
    row = support.comparison(item, item.calibrations.all()[0].certificate, done_on=date(2026, 5, 1))
    drift = drift_of(item)
    assert drift is not None
    space = "{http://www.w3.org/2000/svg}"
    for drawn in (drift_svg(drift), drift_svg(drift, NARROW), drift_svg(drift, palette=PAPER)):
        root = parsed(drawn)
        assert "drift" in root.attrib["aria-label"]
        assert len([one for one in root.iter(f"{space}path") if "translate" in one.attrib.get("transform", "")]) == 5
    root = parsed(errors_svg(row, row.computed["as_found"], palette=PAPER))
    assert len([one for one in root.iter(f"{space}path") if "translate" in one.attrib.get("transform", "")]) == 12
    assert "var(" not in errors_svg(row, row.computed["as_found"], palette=PAPER)


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6), st.integers(2, 9))
def test_ticks_lie_within_their_scale_and_are_few(low: float, span: float, most: int) -> None:
    high = low + span
    found = ticks(low, high, most)
    slack = span * 1e-6 + abs(low) * 1e-9
    assert len(found) <= most + 1
    assert all(low - slack <= one <= high + slack for one in found)


@given(st.floats(-100, 100), st.floats(-100, 100))
def test_a_larger_value_stands_higher_and_further_right(one: float, other: float) -> None:
    picture = Picture(600, 300, (-100.0, 100.0), (-100.0, 100.0))
    if one < other:
        assert picture.x(one) <= picture.x(other)
        assert picture.y(one) >= picture.y(other)
    assert picture.left <= picture.x(one) <= picture.width - picture.right + 1e-9


def test_words_in_a_picture_cannot_become_markup() -> None:
    picture = Picture(600, 300, (0.0, 1.0), (0.0, 1.0))
    picture.text(1, 1, "<script>&")
    assert "<script>" not in picture.svg('a "label" <b>')
    assert parsed(picture.svg('a "label" <b>')).attrib["aria-label"] == 'a "label" <b>'
