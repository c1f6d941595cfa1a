"""Recalls: everything that rested on a bad reference is in doubt until somebody answers for it."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, NamedTuple

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from facility import services
from facility.models import Event, Site
from maintenance.calibrating import recalls
from maintenance.calibrating.standing import Against, against
from maintenance.calibrating.trail import rests_on, trail_of
from maintenance.models import (
    Calibration,
    Cylinder,
    CylinderAnalysis,
    Equipment,
    GasSample,
    Recall,
    Reference,
    ReferenceCertificate,
    WorkResult,
)
from tests import make
from tests.maintenance.calibrating import support

pytestmark = pytest.mark.django_db


class Chain(NamedTuple):
    """A loaned master, a working reference made from it, a gauge, an analyser and what was analysed with it."""

    site: Site
    master: Reference
    first: ReferenceCertificate
    second: ReferenceCertificate
    gauge: Calibration
    analyser: Calibration
    analysis: CylinderAnalysis
    sample: GasSample


def analysed(item: Equipment, cylinder: Cylinder, day: int) -> CylinderAnalysis:
    row = CylinderAnalysis(cylinder=cylinder, analysed_at=datetime(2026, 3, day, 10, tzinfo=UTC), result="passed",
                           oxygen_percent=Decimal("99.7"), analysed_by="Ina Test", analyser=item)  # fmt: skip
    return services.add(row, by=make.BY)


def sampled(item: Equipment, day: int) -> GasSample:
    row = GasSample(site=item.site, gas="AIR", point="compressor", taken_at=datetime(2026, 3, day, 10, tzinfo=UTC),
                    taken_by="Ina Test", analyser=item, pressure_bar=200, values={"co_ppm": "2"}, passed=True)  # fmt: skip
    return services.add(row, by=make.BY)


@pytest.fixture
def chain() -> Chain:
    site = make.site()
    master, working = (
        support.reference(site, owner="Harbour Works", return_by=date(2026, 12, 1)),
        support.reference(site),
    )
    first = support.certificate(master)
    second = support.certificate(working, rests_on=first, calibrated_on=date(2026, 2, 10))
    gauge = support.comparison(make.equipment(site), first)
    item = make.equipment(site, tag="OX-1", name="Oxygen analyser", kind="analyser")
    analyser = support.comparison(item, second, done_on=date(2026, 3, 2))
    cylinder = services.add(Cylinder(bank=make.bank(site), mark="K-77", water_litres=50), by=make.BY)
    return Chain(site, master, first, second, gauge, analyser, analysed(item, cylinder, 5), sampled(item, 6))


def recalled(chain: Chain, **fields: Any) -> Recall:
    defaults: dict[str, Any] = {"site": chain.site, "reference": chain.master, "last_good_on": date(2026, 2, 5),
                                "found_on": date(2026, 4, 1), "why": "Reads low above 5 bar"}  # fmt: skip
    return recalls.start(Recall(**defaults | fields), by=make.BY)


def test_a_bad_loaned_reference_puts_everything_in_doubt_that_rested_on_it(chain: Chain) -> None:
    """Common practice, no source: on paper this list takes days."""
    recall = recalled(chain)
    found = {(one.kind, one.row.pk) for one in recalls.subjects(recall)}
    assert found == {
        ("calibration", chain.gauge.pk), ("calibration", chain.analyser.pk), ("certificate", chain.second.pk),
        ("analysis", chain.analysis.pk), ("gas sample", chain.sample.pk),
    }  # fmt: skip
    for row in (chain.gauge.work, chain.analyser.work, chain.analysis, chain.sample):
        row.refresh_from_db()
        assert row.doubted_by == recall
        told = Event.objects.filter(subject_kind=row._meta.label_lower, subject_id=row.pk, action="put in doubt")
        assert told.count() == 1


def test_what_was_compared_up_to_the_last_good_day_stays_good(chain: Chain) -> None:
    recall = recalled(chain, last_good_on=date(2026, 3, 1))
    assert {one.row.pk for one in recalls.subjects(recall) if one.kind == "calibration"} == set()
    chain.gauge.work.refresh_from_db()
    assert chain.gauge.work.doubted_by is None


def test_a_comparison_made_later_on_a_recalled_certificate_is_not_known(chain: Chain) -> None:
    recalled(chain)
    for certificate in (chain.first, chain.second):
        assert against(certificate, date(2026, 4, 10)) == [Against.RECALLED]
        row = support.comparison(make.equipment(chain.site), certificate, done_on=date(2026, 4, 10))
        assert row.work.result == WorkResult.UNREAD


def test_a_new_certificate_after_it_was_found_bad_counts(chain: Chain) -> None:
    recalled(chain)
    anew = support.certificate(chain.master, calibrated_on=date(2026, 4, 1), due_on=date(2027, 4, 1))
    assert against(anew, date(2026, 4, 2)) == []


def test_an_answer_that_it_stands_after_all_lifts_the_doubt_with_its_reason(chain: Chain) -> None:
    recall = recalled(chain)
    gauge = [one for one in recalls.subjects(recall) if one.row == chain.gauge]
    assert recalls.answer(recall, gauge, (True, "Compared below 5 bar only"), by=make.BY) == 1
    chain.gauge.work.refresh_from_db()
    assert chain.gauge.work.doubted_by is None
    assert [one.answer is None for one in recalls.subjects(recall)].count(True) == 4
    with pytest.raises(ValidationError, match="already"):
        recalls.answer(recall, [one for one in recalls.subjects(recall) if one.row == chain.gauge], (True, "Twice"),
                       by=make.BY)  # fmt: skip


def test_an_answer_needs_a_reason(chain: Chain) -> None:
    recall = recalled(chain)
    with pytest.raises(ValidationError, match="reason"):
        recalls.answer(recall, recalls.subjects(recall)[:1], (True, "  "), by=make.BY)


def test_done_again_asks_for_the_newer_record(chain: Chain) -> None:
    recall = recalled(chain)
    gauge = [one for one in recalls.subjects(recall) if one.row == chain.gauge]
    with pytest.raises(ValidationError, match="no newer good record"):
        recalls.answer(recall, gauge, (False, "Done"), by=make.BY)
    other = support.certificate(support.reference(chain.site))
    support.comparison(chain.gauge.equipment, other, done_on=date(2026, 4, 3))
    assert recalls.answer(recall, gauge, (False, "Compared with another reference"), by=make.BY) == 1
    analysis = [one for one in recalls.subjects(recall) if one.kind == "analysis"]
    analysed(chain.analyser.equipment, chain.analysis.cylinder, 4)  # an older one does not help
    with pytest.raises(ValidationError, match="no newer good record"):
        recalls.answer(recall, analysis, (False, "Done"), by=make.BY)
    analysed(make.equipment(chain.site, kind="analyser"), chain.analysis.cylinder, 20)
    assert recalls.answer(recall, analysis, (False, "Analysed with another"), by=make.BY) == 1


def test_lifting_one_recall_leaves_the_doubt_of_another(chain: Chain) -> None:
    first = recalled(chain)
    second = recalled(chain, reference=None, equipment=chain.analyser.equipment, last_good_on=date(2026, 3, 4))
    analysis = [one for one in recalls.subjects(first) if one.kind == "analysis"]
    recalls.answer(first, analysis, (True, "Another analyser said the same"), by=make.BY)
    chain.analysis.refresh_from_db()
    assert chain.analysis.doubted_by == second


def test_a_bad_analyser_reaches_what_it_analysed_until_its_next_good_comparison(chain: Chain) -> None:
    item = chain.analyser.equipment
    support.comparison(item, chain.second, done_on=date(2026, 3, 25))
    late = analysed(item, chain.analysis.cylinder, 28)
    recall = recalled(chain, reference=None, equipment=item, last_good_on=date(2026, 3, 5), found_on=date(2026, 3, 24))
    found = {(one.kind, one.row.pk) for one in recalls.subjects(recall)}
    assert found == {("gas sample", chain.sample.pk)}
    late.refresh_from_db()
    assert late.doubted_by is None


def test_the_spans_tell_a_higher_floor_which_days_to_look_at(chain: Chain) -> None:
    spans = recalls.spans_in_doubt(recalled(chain))
    assert [(item.tag, span.first, span.last) for item, span in spans] == [
        (chain.gauge.equipment.tag, date(2026, 3, 1), None), ("OX-1", date(2026, 3, 2), None),
    ]  # fmt: skip


def test_the_trail_leads_both_ways(chain: Chain) -> None:
    """Item, comparison, certificate, the certificate below it; and back from the lowest to all that rests on it."""
    down = trail_of(chain.analyser.equipment)
    assert [(one.kind, one.row) for one in down] == [
        ("calibration", chain.analyser), ("certificate", chain.second), ("certificate", chain.first),
    ]  # fmt: skip
    up = [(one.kind, one.row, one.depth) for one in rests_on(chain.first)]
    assert up == [
        ("calibration", chain.gauge, 1), ("certificate", chain.second, 1), ("calibration", chain.analyser, 2),
    ]  # fmt: skip


def test_a_recall_is_started_listed_and_answered_on_its_pages(chain: Chain) -> None:
    browser = support.client(chain.site)
    sent = browser.post(reverse("maintenance:recall", args=[chain.site.key]), {
        "reference": chain.master.pk, "last_good_on": "5 Feb 2026", "found_on": "1 Apr 2026", "why": "Reads low",
    })  # fmt: skip
    recall = Recall.objects.get()
    assert sent.headers["Location"] == reverse("maintenance:recall_page", args=[chain.site.key, recall.pk])
    page = browser.get(sent.headers["Location"]).content.decode()
    assert "5 of 5 are open" in page
    assert "in doubt since 2 Mar 2026" in page
    address = reverse("maintenance:answer_recall", args=[chain.site.key, recall.pk])
    refused = browser.post(address, {"subjects": [f"analysis:{chain.analysis.pk}"], "stands": "no", "why": "Done"})
    assert refused.status_code == 422
    assert "no newer good record" in refused.content.decode()
    everything = [one.key for one in recalls.subjects(recall)]
    browser.post(address, {"subjects": everything, "stands": "yes", "why": "Only its upper half was bad"})
    assert "All answered" in browser.get(sent.headers["Location"]).content.decode()


def test_both_or_neither_and_crossed_days_are_refused_on_the_page(chain: Chain) -> None:
    browser = support.client(chain.site)
    typed = {"last_good_on": "5 Apr 2026", "found_on": "1 Apr 2026", "why": "Reads low", "reference": chain.master.pk}
    page = browser.post(reverse("maintenance:recall", args=[chain.site.key]), typed)
    assert page.status_code == 422
    assert "found bad before its last good day" in page.content.decode()
    typed = {"last_good_on": "5 Feb 2026", "found_on": "1 Apr 2026", "why": "Reads low"}
    page = browser.post(reverse("maintenance:recall", args=[chain.site.key]), typed)
    assert "Name the reference or the analyser" in page.content.decode()
    assert not Recall.objects.exists()
