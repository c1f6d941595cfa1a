"""The record of a comparison on paper: tagged, whole, the same twice, and nothing fetched from elsewhere."""

from __future__ import annotations

import io

import pikepdf
import pytest
from django.urls import reverse
from django.utils import timezone

from facility.papers.printing import PrintingError
from maintenance.calibrating.paper import paper_html, pdf_of
from tests import make
from tests.maintenance.calibrating import support


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
def test_the_page_sends_it() -> None:
    site = make.site()
    row = support.comparison(make.equipment(site), support.certificate(support.reference(site)))
    answer = support.client(site).get(reverse("maintenance:calibration_pdf", args=[site.key, row.pk]))
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")


def test_a_page_that_would_fetch_something_makes_no_pdf() -> None:
    with pytest.raises(PrintingError):
        pdf_of('<html lang="en"><title>x</title><img alt="x" src="file:///etc/hostname"></html>')
