"""Comparisons as stored: figures against worked examples outside the project, the reference as on that day, the verdict."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from math import sqrt
from typing import Any

import pint
import pytest
from django.core.exceptions import ValidationError
from scipy import stats

from facility.models import Event
from maintenance.calibrating import services
from maintenance.calibrating.standing import Against
from maintenance.models import Calibration, WorkRecord, WorkResult
from tests import make
from tests.maintenance.calibrating import support

pytestmark = pytest.mark.django_db


def test_a_whole_comparison_is_recomputed_by_hand() -> None:
    """Class 1.6, 0 to 10 bar: limit 0.16 by EN 837-1; components over the root of 3 by JCGM 100:2008, 4.3.7.

    The probability is that of scipy's normal distribution (JCGM 106:2012, equation 11).
    """
    site = make.site()
    row = support.comparison(make.equipment(site), support.certificate(support.reference(site)))
    run = row.computed["as_found"]
    by_hand = sqrt((0.010 / 2) ** 2 + (0.02 / 2) ** 2 / 3 + (0.06 / 2) ** 2 / 3 + (0.02 / 2) ** 2 / 3)
    assert run["combined"] == pytest.approx(by_hand)
    assert run["combined"] == pytest.approx(0.0198, abs=5e-5)
    assert (run["largest_error"], run["largest_error_at"], run["hysteresis"]) == ("0.11", "4", "0.06")
    assert Decimal(run["limit"]) == Decimal("0.16")
    assert run["guarded_limit"] == pytest.approx(0.1204, abs=1e-4)
    chance = stats.norm.cdf((0.16 - 0.11) / by_hand) - stats.norm.cdf((-0.16 - 0.11) / by_hand)
    assert run["conformance"] == pytest.approx(chance, abs=1e-9)
    assert run["verdict"] == "pass"
    assert row.work.result == WorkResult.PASSED


def test_a_head_of_water_is_added_to_the_reference() -> None:
    """Reference 1.5 m above the gauge, water: +14.67 kPa (hydrostatics; EURAMET cg-17 asks for it); pint for bar."""
    site = make.site()
    means = support.MEANS | {"head_height_m": "1.5", "fluid_density": "998.2"}
    row = support.comparison(make.equipment(site), support.certificate(support.reference(site)), means=means)
    at_four = row.computed["as_found"]["points"][2]["reference"]
    registry: pint.UnitRegistry[Any] = pint.UnitRegistry()
    head_bar = (14.67 * registry.kPa).to("bar").magnitude
    assert float(at_four) - 4 == pytest.approx(head_bar, abs=1e-4)


def test_a_zone_grade_allows_less_in_the_middle() -> None:
    """ASME B40.100 grade A, 2-1-2 % of span (grades from memory): an error of 1.5 % passes at the ends only."""
    site = make.site()
    choices = support.CHOICES | {"limit_by": "ASME B40.100 grade", "class_or_grade": "A", "decision_rule": "simple"}
    item, by = make.equipment(site), support.certificate(support.reference(site))
    low = support.comparison(item, by, as_found=[{"reference": "1", "up": "1.15"}], choices=choices)
    middle = support.comparison(item, by, as_found=[{"reference": "5", "up": "5.15"}], choices=choices)
    assert (low.computed["past"], middle.computed["past"]) == ("pass", "fail")
    assert "grade from memory" in low.computed["remarks"]


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"due_on": date(2026, 2, 28)}, Against.OUT_OF_DATE),
        ({"calibrated_on": date(2026, 3, 2)}, Against.LATER),
        ({"passed": False}, Against.FAILED),
    ],
)
def test_a_good_verdict_counts_only_with_a_reference_proven_that_day(fields: dict[str, Any], said: Against) -> None:
    site = make.site()
    row = support.comparison(make.equipment(site), support.certificate(support.reference(site), **fields))
    assert row.computed["against"] == [str(said)]
    assert row.computed["past"] == "pass"
    assert row.work.result == WorkResult.UNREAD


def test_a_certificate_is_good_through_its_last_day() -> None:
    site = make.site()
    by = support.certificate(support.reference(site), due_on=support.DAY)
    assert support.comparison(make.equipment(site), by).work.result == WorkResult.PASSED


def test_without_a_certificate_nothing_is_proven_but_a_failure_stays_one() -> None:
    site = make.site()
    item = make.equipment(site)
    assert support.comparison(item, None).work.result == WorkResult.UNREAD
    assert support.drifted(item, None, support.DAY, "0.30").work.result == WorkResult.FAILED


def test_the_certificate_stays_in_the_record_as_it_was_on_that_day() -> None:
    site = make.site()
    reference = support.reference(site, owner="Harbour Works", return_by=date(2026, 9, 1))
    row = support.comparison(make.equipment(site), support.certificate(reference, number="8841"))
    support.certificate(reference, number="9902", calibrated_on=date(2026, 8, 1))
    kept = Calibration.objects.get(pk=row.pk).computed["certificate"]
    assert (kept["number"], kept["owner"], kept["due_on"]) == ("8841", "Harbour Works", "2027-02-03")


def test_one_comparison_is_one_record_of_work_under_its_act() -> None:
    site = make.site()
    rule = make.rule(make.equipment(site))
    before = Event.objects.count()
    row = support.comparison(rule.equipment, support.certificate(support.reference(site)), rule)
    assert WorkRecord.objects.get(rule=rule).calibration == row
    assert Event.objects.count() == before + 4  # reference, certificate, work, comparison


def test_an_act_of_another_item_is_refused_and_nothing_is_stored() -> None:
    site = make.site()
    by, rule = support.certificate(support.reference(site)), make.rule(make.equipment(site))
    with pytest.raises(ValidationError, match="another item"):
        support.comparison(make.equipment(site), by, rule)
    assert not Calibration.objects.exists()
    assert not WorkRecord.objects.exists()


def test_found_outside_and_left_inside_looks_back_and_passes_onward() -> None:
    """As found judges the time past, as left the time to come (ISO/IEC 17025 in spirit)."""
    site = make.site()
    row = support.drifted(
        make.equipment(site), support.certificate(support.reference(site)), support.DAY, "0.30",
        as_left=[{"reference": "4", "up": "4.01"}], adjusted=True,
    )  # fmt: skip
    assert row.computed["look_back"] is True
    assert (row.computed["past"], row.computed["onward"], row.work.result) == ("fail", "pass", WorkResult.PASSED)


def test_adjusted_without_a_run_as_left_is_not_known() -> None:
    site = make.site()
    row = support.comparison(make.equipment(site), support.certificate(support.reference(site)), adjusted=True)
    assert (row.computed["onward"], row.work.result) == (None, WorkResult.UNREAD)


def test_the_largest_correction_that_a_guarded_class_leaves() -> None:
    """MSL Technical Guide 13: class 1, 4000 kPa, U = 25 kPa: 40 - 25 = 15 kPa is the largest allowed."""
    site = make.site()
    item, by = make.equipment(site), support.certificate(support.reference(site), unit="kPa", expanded_uncertainty=25)
    means = support.MEANS | {"reference_expanded": "25", "resolution": "0", "zero_shift": ""}
    choices = support.CHOICES | {"class_or_grade": "1"}
    scale: dict[str, Any] = {"unit": "kPa", "scale_high": Decimal(4000), "means": means, "choices": choices}
    good = support.comparison(item, by, as_found=[{"reference": "2000", "up": "2014.9"}], **scale)
    bad = support.comparison(item, by, as_found=[{"reference": "2000", "up": "2015.1"}], **scale)
    assert good.computed["as_found"]["guarded_limit"] == pytest.approx(15, abs=0.01)
    assert (good.computed["past"], bad.computed["past"]) == ("pass", "fail")


def test_a_correction_takes_the_place_of_comparison_and_work_together() -> None:
    site = make.site()
    by = support.certificate(support.reference(site))
    old = support.drifted(make.equipment(site), by, support.DAY, "0.30")
    new = Calibration(
        equipment=old.equipment, certificate=by, done_on=old.done_on, done_by=old.done_by, unit="bar", scale_low=0,
        scale_high=10, as_found=[{"reference": "4", "up": "4.03"}], choices=old.choices, means=old.means,
    )  # fmt: skip
    stored = services.correct(old, new, None, by=make.BY, reason="Typed 4.30 for 4.03")
    old.refresh_from_db()
    assert (old.is_current, old.work.is_current, stored.work.result) == (False, False, WorkResult.PASSED)
    assert stored.supersedes == old


def test_a_certificate_cannot_rest_on_itself_or_on_a_later_one() -> None:
    site = make.site()
    master, working = support.reference(site), support.reference(site)
    first = support.certificate(master)
    second = support.certificate(working, rests_on=first, calibrated_on=date(2026, 2, 10))
    with pytest.raises(ValidationError, match="rest on itself"):
        support.certificate(master, rests_on=second, calibrated_on=date(2026, 2, 20))
    with pytest.raises(ValidationError, match="later than this one"):
        support.certificate(support.reference(site), rests_on=second, calibrated_on=date(2026, 2, 9))


def test_a_loan_needs_the_day_of_its_return() -> None:
    with pytest.raises(ValidationError, match="on loan from Harbour Works"):
        support.reference(make.site(), owner="Harbour Works")
