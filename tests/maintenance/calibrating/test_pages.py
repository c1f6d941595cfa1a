"""Pages of comparisons: what is typed, refused with 422 and nothing lost, shown, and led on to."""

from __future__ import annotations

import copy
import html
import io
import re
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from facility.models import Site, SiteRole
from maintenance.calibrating.standing import returns_due
from maintenance.models import Calibration, Reference, ReferenceCertificate, WorkResult
from maintenance.services import correct_work
from tests import make
from tests.maintenance.calibrating import support

pytestmark = pytest.mark.django_db

FORM = {
    "done_on": "1 Mar 2026", "done_by": "Ina Test", "unit": "bar", "scale_low": "0", "scale_high": "10",
    "limit_by": "EN 837-1 class", "class_or_grade": "1.6", "decision_rule": "guarded", "guard_factor": "1",
    "resolution": "0,02", "zero_before": "0.00", "zero_after": "0.02",
}  # fmt: skip


def cells(run: str = "found", points: list[dict[str, str]] | None = None) -> dict[str, str]:
    rows = support.points() if points is None else points
    return {
        f"{run}-{number}-{column}": value for number, row in enumerate(rows, start=1) for column, value in row.items()
    }


def compare(site: Site, item: Any, typed: dict[str, Any], browser: Client | None = None) -> Any:
    address = reverse("maintenance:calibrate", args=[site.key, item.pk])
    return (browser or support.client(site)).post(address, typed)


def png() -> SimpleUploadedFile:
    file = io.BytesIO()
    Image.new("RGB", (8, 8), "white").save(file, "PNG")
    return SimpleUploadedFile("certificate.png", file.getvalue(), "image/png")


def test_a_comparison_typed_on_the_page_gives_the_figures_of_the_worked_example() -> None:
    """Class 1.6, 0 to 10 bar: u 0.0198, guarded limit 0.1204, probability 0.9942 (JCGM 100, JCGM 106, EN 837-1)."""
    site = make.site()
    item, certificate = make.equipment(site), support.certificate(support.reference(site))
    browser = support.client(site)
    sent = compare(site, item, FORM | cells() | {"certificate": certificate.pk}, browser)
    row = Calibration.objects.get()
    assert sent.headers["Location"] == reverse("maintenance:calibration", args=[site.key, row.pk])
    page = browser.get(sent.headers["Location"]).content.decode()
    for words in ("Within limits", "0.1204", "0.9942", "0.01979", "+0.11", "worst point"):
        assert words in page
    assert 'role="img"' in page
    assert "style=" not in page


def test_a_refused_comparison_comes_back_with_all_that_was_typed() -> None:
    site = make.site()
    item = make.equipment(site)
    typed = FORM | {"found-1-reference": "4", "found-2-up": "2.02", "scale_high": "0", "class_or_grade": "A"}
    answer = compare(site, item, typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert not Calibration.objects.exists()
    for words in (
        "each point needs a reference value and a rising reading", "is not more than the start of the scale",
        "Without a certificate give the reference", "is not one of EN 837-1 class: choose 0.1, 0.25", 'value="2.02"',
    ):  # fmt: skip
        assert words in page


def test_a_comparison_of_no_point_of_tomorrow_or_in_a_unit_without_a_way_is_refused() -> None:
    site = make.site()
    item, certificate = make.equipment(site), support.certificate(support.reference(site))
    page = compare(site, item, FORM | {"certificate": certificate.pk, "done_on": "1 Jan 2199"}).content.decode()
    assert "lies after today" in page
    assert "No point as found" in page
    page = compare(site, item, FORM | cells() | {"certificate": certificate.pk, "unit": "ppm"}).content.decode()
    assert "there is no way" in page
    page = compare(site, item, FORM | cells() | {"certificate": certificate.pk, "head_height_m": "1"}).content.decode()
    assert "Missing: it goes with" in page


def test_limit_and_rule_cannot_change_in_silence() -> None:
    """ILAC-G8:09/2019: the decision rule is agreed before measuring."""
    site = make.site()
    item, certificate = make.equipment(site), support.certificate(support.reference(site))
    typed = FORM | cells() | {"certificate": certificate.pk}
    assert compare(site, item, typed).status_code == 302
    softer = typed | {"decision_rule": "simple", "class_or_grade": "2.5"}
    refused = compare(site, item, softer)
    assert refused.status_code == 422
    assert "say why they changed" in refused.content.decode()
    assert compare(site, item, softer | {"changed_because": "New dial, class 2.5"}).status_code == 302
    assert Calibration.objects.first().choices["changed_because"] == "New dial, class 2.5"  # type: ignore[union-attr]


def test_no_reading_is_filled_in_beforehand() -> None:
    site = make.site()
    row = support.comparison(make.equipment(site), support.certificate(support.reference(site)))
    page = (
        support.client(site).get(reverse("maintenance:calibrate", args=[site.key, row.equipment_id])).content.decode()
    )
    assert 'name="scale_high" value="10"' in page
    assert 'value="4.05"' not in page


def test_a_failed_comparison_says_look_back_and_leads_to_a_defect() -> None:
    site = make.site()
    by, item = support.certificate(support.reference(site)), make.equipment(site)
    support.comparison(item, by, done_on=date(2026, 2, 20))
    row = support.drifted(item, by, support.DAY, "0.30")
    page = support.client(site).get(reverse("maintenance:calibration", args=[site.key, row.pk])).content.decode()
    assert "Look back." in page
    assert "since the last good comparison on 20 Feb 2026" in page
    link = re.search(rf'href="({reverse("maintenance:raise_defect", args=[site.key])}[^"]+)"', page)
    assert link is not None
    form = support.client(site).get(html.unescape(link[1]))
    assert form.status_code == 200
    assert f'<option value="{item.pk}" selected>' in form.content.decode()


def test_a_reference_not_proven_that_day_is_said() -> None:
    site = make.site()
    by = support.certificate(support.reference(site), due_on=date(2026, 2, 28))
    row = support.comparison(make.equipment(site), by)
    page = support.client(site).get(reverse("maintenance:calibration", args=[site.key, row.pk])).content.decode()
    assert "Not known: the reference was not proven that day" in page
    assert "its certificate was out of date" in page


def test_a_comparison_is_corrected_with_a_reason_and_the_old_one_stays_readable() -> None:
    site = make.site()
    by = support.certificate(support.reference(site))
    old = support.drifted(make.equipment(site), by, support.DAY, "0.30")
    browser = support.client(site)
    address = reverse("maintenance:correct_calibration", args=[site.key, old.pk])
    assert 'value="4.30"' in browser.get(address).content.decode()
    typed = FORM | {"certificate": by.pk, "found-1-reference": "4", "found-1-up": "4.03"}
    assert browser.post(address, typed | {"reason": " "}).status_code == 422
    assert browser.post(address, typed | {"reason": "Typed 4.30 for 4.03"}).status_code == 302
    page = browser.get(reverse("maintenance:calibration", args=[site.key, old.pk])).content.decode()
    assert "no longer counts" in page
    assert Calibration.objects.current().get().work.result == WorkResult.PASSED


def test_a_clock_is_judged_by_what_it_gained_over_the_span() -> None:
    """46 CFR 197.458(c): a quarter of a minute in 4 h, other spans in proportion; a constant offset is no drift."""
    site = make.site()
    clock = make.equipment(site, kind="clock", tag="CL-1", name="Panel clock")
    typed = {"done_on": "1 Mar 2026", "done_by": "Ina Test", "decision_rule": "simple", "compared_with": "time signal",
             "span_h": "8", "first_s": "40", "last_s": "70", "limit_s": "15", "limit_span_h": "4",
             "reference_expanded": "0.5", "resolution": "1"}  # fmt: skip
    browser = support.client(site)
    assert compare(site, clock, typed, browser).status_code == 302
    row = Calibration.objects.get()
    assert (row.computed["past"], row.work.result) == ("pass", WorkResult.PASSED)  # exactly 30 s in 8 h
    page = browser.get(reverse("maintenance:calibration", args=[site.key, row.pk])).content.decode()
    assert "40 s, 70 s" in page
    compare(site, clock, typed | {"last_s": "71"}, browser)
    assert Calibration.objects.first().computed["past"] == "fail"  # type: ignore[union-attr]


def test_a_laboratorys_certificate_counts_once_its_days_are_confirmed() -> None:
    site = make.site()
    rule = make.rule(make.equipment(site))
    typed = {"laboratory": "Metrology House", "number": "77", "done_on": "1 Mar 2026", "due_on": "1 Mar 2027",
             "rule": rule.pk, "unit": "bar", "scale_low": "0", "scale_high": "10", "as_found": "pass",
             "largest_error": "-0.05", "limit": "0.16", "expanded": "0.02"}  # fmt: skip
    browser = support.client(site)
    address = reverse("maintenance:laboratory", args=[site.key, rule.equipment_id])
    assert browser.post(address, typed).status_code == 422  # without a scan
    assert browser.post(address, typed | {"upload": png()}).status_code == 302
    row = Calibration.objects.get()
    assert (row.work.needs_second_look, row.work.due_on, row.work.result) == (True, date(2027, 3, 1), WorkResult.PASSED)
    page = browser.get(reverse("maintenance:calibration", args=[site.key, row.pk])).content.decode()
    assert "Waits for a second look" in page


def test_days_that_a_second_person_refused_leave_the_newer_record_of_work_to_count() -> None:
    site = make.site()
    row = support.comparison(make.equipment(site), support.certificate(support.reference(site)))
    work = copy.copy(row.work)
    work.pk, work._state.adding, work.row_version, work.result = None, True, 1, WorkResult.UNREAD
    correct_work(row.work, work, by=make.BY, reason="Read otherwise")
    page = support.client(site).get(reverse("maintenance:drift", args=[site.key, row.equipment_id])).content.decode()
    assert "could not read" in page


def test_dates_off_a_scan_are_confirmed_by_a_second_person_who_reads_the_same() -> None:
    site = make.site()
    reference = support.reference(site)
    first, second = support.client(site), support.client(site, SiteRole.SUPERVISOR)
    typed = {"number": "8841", "issuer": "Metrology House", "calibrated_on": "3 Feb 2026", "due_on": "3 Feb 2027",
             "expanded_uncertainty": "0.010", "coverage_factor": "2", "unit": "bar", "passed": "on"}  # fmt: skip
    first.post(reverse("maintenance:add_certificate", args=[site.key, reference.pk]), typed | {"upload": png()})
    row = ReferenceCertificate.objects.get()
    waiting = support.comparison(make.equipment(site), row)
    assert waiting.work.result == WorkResult.UNREAD
    address = reverse("maintenance:second_look_certificate", args=[site.key, row.pk])
    read = {"calibrated_on": "3 Feb 2026", "due_on": "3 Feb 2027", "expanded_uncertainty": "0.01",
            "coverage_factor": "2", "shown_version": "1"}  # fmt: skip
    wrong = second.post(address, read | {"due_on": "3 Mar 2027"})
    assert wrong.status_code == 422
    assert "The first reading says something else" in wrong.content.decode()
    assert second.post(address, read).status_code == 302
    row.refresh_from_db()
    assert support.comparison(make.equipment(site), row).work.result == WorkResult.PASSED


def test_the_first_reader_cannot_be_the_second() -> None:
    site = make.site()
    browser = support.client(site)
    typed = {"number": "8841", "issuer": "Metrology House", "calibrated_on": "3 Feb 2026",
             "expanded_uncertainty": "0.010", "coverage_factor": "2", "unit": "bar", "passed": "on"}  # fmt: skip
    browser.post(
        reverse("maintenance:add_certificate", args=[site.key, support.reference(site).pk]), typed | {"upload": png()}
    )
    row = ReferenceCertificate.objects.get()
    read = {"calibrated_on": "3 Feb 2026", "expanded_uncertainty": "0.01", "coverage_factor": "2", "shown_version": "1"}
    answer = browser.post(reverse("maintenance:second_look_certificate", args=[site.key, row.pk]), read)
    assert answer.status_code == 422
    assert "must be another person" in answer.content.decode()


def test_a_reference_on_loan_is_added_and_its_return_is_said() -> None:
    site = make.site()
    browser = support.client(site)
    typed = {"key": "loan-1", "name": "Loaned gauge", "unit": "bar", "scale_low": "0", "owner": "Harbour Works"}
    assert browser.post(reverse("maintenance:add_reference", args=[site.key]), typed).status_code == 422
    browser.post(reverse("maintenance:add_reference", args=[site.key]), typed | {"return_by": "1 Mar 2020"})
    assert Reference.objects.get().return_by == date(2020, 3, 1)
    page = browser.get(reverse("maintenance:references", args=[site.key])).content.decode()
    assert "should have gone back to Harbour Works by 1 Mar 2020" in page
    assert "it has no certificate" in page


def test_the_list_of_references_asks_no_more_with_more_references(django_assert_max_num_queries: Any) -> None:
    site = make.site()
    for _number in range(4):
        reference = support.reference(site, owner="Harbour Works", return_by=date(2026, 5, 1))
        support.comparison(make.equipment(site), support.certificate(reference))
    browser = support.client(site)
    address = reverse("maintenance:references", args=[site.key])
    with django_assert_max_num_queries(16):
        browser.get(address)
    assert [one.key for one in returns_due(site, date(2026, 5, 1))] == ["ref-1", "ref-2", "ref-3", "ref-4"]
    assert returns_due(site, date(2026, 4, 30)) == []


def test_a_name_with_marks_of_a_page_does_nothing_in_a_picture_or_table() -> None:
    site = make.site()
    item = make.equipment(site, name="<script>alert(1)</script>")
    means = support.MEANS | {"others": [{"name": "<b>heat</b>", "value": "0.01"}]}
    row = support.comparison(item, support.certificate(support.reference(site)), means=means)
    browser = support.client(site)
    for name, pk in (("calibration", row.pk), ("drift", item.pk)):
        page = browser.get(reverse(f"maintenance:{name}", args=[site.key, pk])).content.decode()
        assert "<script>alert" not in page
        assert "<b>heat" not in page


def test_the_number_of_questions_to_the_database_does_not_grow_with_the_history(
    django_assert_max_num_queries: Any,
) -> None:
    site = make.site()
    item, by = make.equipment(site), support.certificate(support.reference(site))
    for month in range(3, 9):
        support.drifted(item, by, date(2026, month, 1), f"0.0{month}")
    browser = support.client(site)
    with django_assert_max_num_queries(24):
        browser.get(reverse("maintenance:drift", args=[site.key, item.pk]))
    assert Decimal("0.08") == max(
        Decimal(row.computed["as_found"]["largest_error"]) for row in Calibration.objects.all()
    )
