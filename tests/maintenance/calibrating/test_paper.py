"""The record of a comparison on paper: tagged, whole, the same twice, and nothing fetched from elsewhere."""

from __future__ import annotations

import io

import pikepdf
import pytest
from django.urls import reverse
from django.utils import timezone

from facility.models import Event
from facility.papers.printing import PrintingError
from maintenance.calibrating.paper import paper_html, pdf_of
from tests import make
from tests.maintenance.calibrating import support
from tests.treatments.after.pdf_text import pages_of


@pytest.mark.django_db
def test_the_record_is_a_tagged_pdf_and_the_same_twice() -> None:
    """ISO 14289-1 (PDF/UA-1): tagged, with language and title, marked as such in its metadata."""
    site = make.site()
    row = support.comparison(make.equipment(site), support.certificate(support.reference(site)))
    html = paper_html(row, timezone.now(), "Ina Test")
    content = pdf_of(html)
    assert content == pdf_of(html)
    with pikepdf.open(io.BytesIO(content)) as document:
        root = document.Root
        assert root.MarkInfo.Marked
        assert str(root.Lang) == "en"
        assert "/StructTreeRoot" in root
        assert str(document.open_metadata()["pdfuaid:part"]) == "1"
        assert "Record of comparison" in str(document.docinfo["/Title"])
        assert len(document.pages) <= 3


@pytest.mark.django_db
def test_its_first_page_names_it_as_made_in_the_house_with_its_event_and_no_caption_stands_alone() -> None:
    site = make.site()
    row = support.comparison(make.equipment(site), support.certificate(support.reference(site)))
    pages = [" ".join(page.split()) for page in pages_of(pdf_of(paper_html(row, timezone.now(), "Ina Test")))]
    assert "Record of comparison, made in the house" in pages[0]
    assert "no certificate of an accredited laboratory" in pages[0]
    event = Event.objects.filter(subject_kind="maintenance.calibration", subject_id=row.pk).order_by("seq")[0]
    assert f"comparison {row.pk} of 1 Mar 2026, event {event.seq}" in pages[0]
    (beside,) = (page for page in pages if "root of the sum of squares" in page)
    assert "Standard uncertainty" in beside


@pytest.mark.django_db
def test_what_a_laboratory_did_is_not_told_as_made_in_the_house() -> None:
    site = make.site()
    row = support.comparison(
        make.equipment(site), support.certificate(support.reference(site)), laboratory="Metrology House"
    )
    html = paper_html(row, timezone.now(), "Ina Test")
    assert "Record of a laboratory\u2019s calibration" in html
    assert "the certificate itself is the proof" in html
    assert "made in the house" not in html
    assert "one facility\u2019s own comparison" not in html


@pytest.mark.django_db
def test_the_page_sends_it() -> None:
    site = make.site()
    row = support.comparison(make.equipment(site), support.certificate(support.reference(site)))
    answer = support.client(site).get(reverse("maintenance:calibration_pdf", args=[site.key, row.pk]))
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")


def test_a_page_that_would_fetch_something_makes_no_pdf() -> None:
    with pytest.raises(PrintingError):
        pdf_of('<html lang="en"><title>x</title><img alt="x" src="file:///etc/hostname"></html>')


@pytest.mark.django_db
def test_a_limit_of_the_house_has_its_unit() -> None:
    site = make.site()
    own = support.CHOICES | {"limit_by": "own limit", "own_limit": "0.16", "class_or_grade": ""}
    row = support.comparison(make.equipment(site), support.certificate(support.reference(site)), choices=own)
    assert "own limit 0.16 bar" in paper_html(row, timezone.now(), "Ina Test")
