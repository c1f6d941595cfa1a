"""A whole Table 6 with one extension at 60 fsw and a change of tender, against a calculation apart from the program.

The calculation below is written from the lines of the story by hand: depths as straight lines, oxygen pressure by
33 fsw = 1 ata, air 21 % oxygen, dose = integral of ((p - 0.5) / 0.5)^(5/6), by scipy's quadrature. It uses no
function of the program.
"""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.integrate import quad

from tests.treatments.figures.story import END, LEFT, table_six
from treatments.figures.state import Figures, figures_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    Law = Callable[[float], float]

pytestmark = pytest.mark.django_db

#: minute and depth as the story logs them; a depth left without a figure is the last reading before
DEPTHS = [(0, 0), (3, 60), (13, 60.3), (103, 60.3), (118, 45), (133, 30), (240, 29.8), (283, 30), (313, 0)]
PATIENT_OXYGEN = [(3, 23), (28, 48), (53, 73), (78, 98), (103, 133), (148, 208), (223, 313)]
SECOND_TENDER_OXYGEN = [(253, 313)]


def depth(minute: float) -> float:
    return float(np.interp(minute, [one[0] for one in DEPTHS], [one[1] for one in DEPTHS]))


def pressure(minute: float, oxygen: Sequence[tuple[float, float]]) -> float:
    on = any(start <= minute < end for start, end in oxygen)
    return (1.0 if on else 0.21) * (depth(minute) + 33) / 33


def integral(law: Law, start: float, end: float, oxygen: Sequence[tuple[float, float]]) -> float:
    """Integrate a law of the oxygen pressure, cut at every corner and where air passes 0.5 ata."""
    crossings = []
    for (a, top), (b, bottom) in itertools.pairwise(DEPTHS):
        limit = (0.5 / 0.21 - 1) * 33
        if min(top, bottom) < limit < max(top, bottom):
            crossings.append(a + (b - a) * (limit - top) / (bottom - top))
    corners = {one[0] for one in DEPTHS} | {edge for span in oxygen for edge in span} | set(crossings)
    cuts = sorted({start, end, *(one for one in corners if start < one < end)})
    return float(
        sum(
            quad(lambda t: law(pressure(t, oxygen)), a + 1e-9, b - 1e-9, limit=200)[0]
            for a, b in itertools.pairwise(cuts)
        )
    )


def uptd(p: float) -> float:
    return float(max(0.0, (p - 0.5) / 0.5) ** (5 / 6))


def esot(p: float) -> float:
    return p**2.285 if p > 0.5 else 0.0


@pytest.fixture
def figures() -> Figures:
    run, _people = table_six()
    return figures_of(run, LEFT + timedelta(hours=8))


def test_doses_agree_with_the_independent_calculation(figures: Figures) -> None:
    patient, first, second = figures.people
    for person, start, end, oxygen in (
        (patient, 0, END, PATIENT_OXYGEN),
        (first, 0, 160, []),
        (second, 150, END, SECOND_TENDER_OXYGEN),
    ):
        assert person.dose.uptd == pytest.approx(integral(uptd, start, end, oxygen), abs=0.01)
        assert person.dose.esot == pytest.approx(integral(esot, start, end, oxygen), abs=0.05)


def test_oxygen_on_its_own_agrees_with_the_independent_calculation(figures: Figures) -> None:
    patient = figures.people[0]
    alone = sum(integral(uptd, start, end, PATIENT_OXYGEN) for start, end in PATIENT_OXYGEN)
    assert patient.dose.uptd_on_oxygen == pytest.approx(alone, abs=0.01)
    assert patient.oxygen_min == 260  # by hand: 4 x 20 + 30 + 60 + 60 + 30


def test_the_dose_is_the_published_one_of_a_table_six_with_an_extension_at_60(figures: Figures) -> None:
    """Published 718, from memory; tolerance 0.5 %: prints round, and this log reads 0.3 fsw deeper."""
    assert figures.people[0].dose.uptd == pytest.approx(718, rel=0.005)


def test_the_cns_fraction_is_outside_the_table_for_who_breathed_oxygen_at_depth(figures: Figures) -> None:
    """NOAA limits end at 1.6 ata; a tender on air at 60 fsw has 0.59 ata: integrated with scipy over the rows.

    Between 0.5 and 0.6 ata the limit falls straight from 900 to 720 min (continuation of the rows, from memory).
    """
    patient, first, second = figures.people
    assert (patient.dose.cns_fraction, second.dose.cns_fraction) == (None, None)

    def share(p: float) -> float:
        return 1 / (900 + (720 - 900) * (p - 0.5) / 0.1) if p > 0.5 else 0.0

    assert first.dose.cns_fraction == pytest.approx(integral(share, 0, 160, []), rel=1e-5)


def test_the_clock_of_the_table_is_the_one_printed_with_25_minutes_more(figures: Figures) -> None:
    """Table 6: 285 min from arrival (recalled total), 3 min down at 20 fsw/min, 25 min an extension at 60 fsw."""
    assert figures.plan is not None
    assert figures.plan.run_minutes == 285 + 3 + 25
    assert figures.extensions == {60.0: 1}
    assert figures.moved_min == pytest.approx(0, abs=1e-9)
    assert figures.ended_at == LEFT + timedelta(minutes=313)
    assert [(one.depth_fsw, one.minutes, one.planned_min) for one in figures.stops] == [(60, 100, 100), (30, 150, 150)]
    assert [round(one.rate_fsw_min, 6) for one in figures.rates] == [-20, 1, 1]


def test_a_log_that_follows_the_table_departs_nowhere(figures: Figures) -> None:
    assert figures.conformity is not None
    assert (figures.conformity.found, figures.conformity.so_far) == ((), False)


def test_each_is_counted_for_the_time_inside(figures: Figures) -> None:
    assert [(one.label, one.stays, one.whole_run) for one in figures.people] == [
        ("patient 1", ((0.0, 313.0),), True),
        ("A. Berg", ((0.0, 160.0),), False),
        ("B. Lie", ((150.0, 313.0),), False),
    ]
    assert [one.deepest_fsw for one in figures.people] == pytest.approx([60.3, 60.3, 30])


def test_oxygen_owed_in_two_revisions_side_by_side(figures: Figures) -> None:
    """Revision 4A p. 21-26: 30 min at 30 fsw and 30 min up with one extension, 60 more after a previous exposure.

    The first tender surfaced 14 h before: outside the 12 h of revision 4A, inside the 18 h of revisions 6 and 7
    (from memory).
    """
    _patient, first, second = figures.people
    assert [(one.revision, one.previous_counts, one.total_min) for one in first.owed] == [
        ("rev4a", False, 60),
        ("rev6-7", True, 120),
    ]
    assert [(one.breathed_min, one.left_min) for one in second.owed] == [(60, 0), (60, 0)]
    assert [one.left_min for one in first.owed] == [60, 120]


def test_waits_run_in_elapsed_hours_across_the_change_of_clocks(figures: Figures) -> None:
    """Revision 4A p. 21-26 to 21-29, from 14:13 UTC on 28 March 2026; Oslo's clocks go on at 01:00 UTC on the 29th."""
    found = {(one.person, one.purpose, one.revision): one for one in figures.waits}
    next_run = found["tender", "next_run", "rev4a"]
    assert (next_run.hours, next_run.until) == (12, datetime(2026, 3, 29, 2, 13, tzinfo=UTC))
    assert next_run.until_local is not None
    assert next_run.until_local.isoformat(timespec="minutes") == "2026-03-29T04:13+02:00"
    flying = found["patient", "flying", "rev4a"]
    assert (flying.hours, flying.until) == (72, datetime(2026, 3, 31, 14, 13, tzinfo=UTC))
    assert not figures.waits_projected


def test_a_tender_who_left_early_waits_from_that_time(figures: Figures) -> None:
    first = figures.people[1]
    next_run = next(one for one in first.waits if (one.purpose, one.revision) == ("next_run", "rev4a"))
    assert next_run.until == LEFT + timedelta(minutes=160, hours=12)
    assert {one.person for one in first.waits} == {"tender"}


def test_carbon_dioxide_as_mmhg_against_the_limit(figures: Figures) -> None:
    """1.5 % SEV = 11.4 mmHg, revision 4A p. 22-16; 1.6 % of 760 mmHg by hand: 12.16."""
    low, high = figures.co2
    assert (low.within, high.within) == (True, False)
    assert (round(low.mmhg, 2), round(high.mmhg, 2)) == (4.56, 12.16)


def test_the_temperature_is_held_against_the_length_with_its_extension(figures: Figures) -> None:
    """Table 21-4 of revision 4A: 30.5 degC = 86.9 degF, band of 6 h; 313 min fit, one more at 30 fsw would not."""
    assert figures.temperature is not None
    found = figures.temperature
    assert (found.listed, found.within, found.longest_min, found.run_min) == (True, True, 360, 313)


def test_ventilation_air_of_the_run_agrees_with_scipy(figures: Figures) -> None:
    """Rates of p. 22-16: without a dump only those on oxygen count, 12.5 acfm each; else 2 at rest and 4 at work."""

    def asked(minute: float) -> float:
        patient = any(a <= minute < b for a, b in PATIENT_OXYGEN)
        second = any(a <= minute < b for a, b in SECOND_TENDER_OXYGEN)
        if patient or second:
            return 12.5 * (patient + second)
        working = (minute < 160) + (minute >= 150)
        return 2 + 4 * working

    corners = sorted(
        {3, 150, 160, 253, 313, *(one[0] for one in DEPTHS), *(e for s in PATIENT_OXYGEN for e in s)} - {0}
    )
    expected = sum(
        quad(lambda t: asked(t) * (depth(t) + 33) / 33, a + 1e-9, b - 1e-9)[0] for a, b in itertools.pairwise(corners)
    )
    assert figures.ventilation is not None
    assert figures.ventilation.asked_scf[False, False] == pytest.approx(expected, rel=1e-6)


def test_oxygen_expected_is_what_everybody_breathed_at_depth(figures: Figures) -> None:
    """0.3 acfm a person on a mask (planning figure, from memory) times the integral of absolute pressure."""
    everybody = [*((PATIENT_OXYGEN, span) for span in PATIENT_OXYGEN), (SECOND_TENDER_OXYGEN, (253, 313))]
    ata_minutes = sum(integral(lambda p: p, start, end, oxygen) for oxygen, (start, end) in everybody)
    oxygen = next(one for one in figures.gas if one.gas == "O2")
    assert oxygen.expected_scf == pytest.approx(0.3 * ata_minutes, rel=1e-6)
    assert (oxygen.used_litres, oxygen.percent) == (None, None)
