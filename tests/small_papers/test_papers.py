"""The page that lists every paper, and how a paper is made, sealed and refused."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from asn1crypto import pem, x509  # type: ignore[import-untyped]
from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from facility.access import Act, Visit
from facility.models import Event, Site, SiteRole
from facility.papers.printing import PrintingError
from facility.report.sealing_check import NotPublishedError
from facility.report.shape import Cell, Section, Table
from facility.small_papers import making
from facility.small_papers.listing import every
from facility.small_papers.making import Paper, Print, pdf_of
from facility.small_papers.sealing import sealed
from facility.trust import keys
from facility.trust.keyfiles import certificate
from facility.trust.keys import KeyFaultError
from tests import make
from tests.small_papers.reading import signed_in, text_of

pytestmark = pytest.mark.django_db
AT = datetime(2026, 11, 28, 11, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.setattr(settings, "DATA_DIR", tmp_path)


def _site() -> Site:
    site = make.site(zone="Europe/Oslo")
    make.sheet(make.chamber(site))
    return site


def _visit(site: Site, *acts: Act) -> Visit:
    return Visit(site, frozenset(acts), make.BY)


def _paper(rows: int = 1) -> Paper:
    table = Table("Rows", ("What", "Event"), tuple((Cell(f"row {n}"), Cell(f"event {n}")) for n in range(rows)))
    return Paper("test-paper", "Test paper", "records 1 to 9", sections=(Section("Part", tables=(table,)),))


def test_every_paper_that_is_listed_can_be_opened_by_whoever_sees_the_list() -> None:
    site = _site()
    client = signed_in(make.user(site, SiteRole.DIRECTOR))
    page = client.get(f"/{site.key}/papers/").content.decode()
    listed = [paper for group in every(_visit(site, *Act)) for paper in group.papers]
    assert len(listed) >= 8
    for paper in listed:
        assert f'href="{paper.address}"' in page
        assert client.get(paper.address).status_code == 200, paper.title


@pytest.mark.parametrize("words", ["Wall sheet", "Due list", "Blank check sheet", "Filled check", "Treatment record",
                                   "Availability statement", "Calibration certificate", "Defect tag", "History of an item",
                                   "Personal log", "Personal record", "Year-end figures"])  # fmt: skip
def test_the_list_names_the_smaller_papers_of_the_trade(words: str) -> None:
    assert any(words in paper.title for group in every(_visit(_site(), Act.SEE)) for paper in group.papers)


@pytest.mark.parametrize(("acts", "listed"), [((Act.SEE,), False), ((Act.SEE, Act.PACK), True)])
def test_a_pack_is_listed_for_those_who_may_build_one(acts: tuple[Act, ...], listed: bool) -> None:
    titles = {paper.title for group in every(_visit(_site(), *acts)) for paper in group.papers}
    assert ("Pack" in titles) is listed


def test_the_list_takes_as_many_queries_with_more_sheets() -> None:
    def queries(site: Site) -> int:
        with CaptureQueriesContext(connection) as taken:
            every(_visit(site, Act.SEE))
        return len(taken)

    site = _site()
    before = queries(site)
    for _number in range(5):
        make.sheet(site.chambers.get())
    assert queries(site) == before


def test_every_page_has_its_number_the_records_the_time_and_the_newest_event() -> None:
    """28 Nov 2026 11:00 UTC is 12:00 in Oslo."""
    pdf = pdf_of(_paper(120), Print(_site(), AT, "Ina Test", 42))
    with pikepdf.open(io.BytesIO(pdf)) as document:
        pages = len(document.pages)
        assert str(document.Root.Lang) == "en"
        assert document.Root.MarkInfo.Marked
    said = text_of(pdf)
    assert pages > 1
    for number in range(1, pages + 1):
        assert f"page {number} / {pages}" in said
    assert said.count("records 1 to 9 · printed 28 Nov 2026 12:00 (Europe/Oslo) · newest event 42") == pages


def test_a_sealed_paper_is_intact_and_signed_by_the_box() -> None:
    pdf = pdf_of(_paper(), Print(_site(), AT, "Ina Test", 42, seal=True))
    root = x509.Certificate.load(pem.unarmor(certificate())[2])
    signature = PdfFileReader(io.BytesIO(pdf)).embedded_signatures[0]
    status = validate_pdf_signature(signature, ValidationContext(trust_roots=[root]))
    assert status.intact
    assert status.trusted
    assert status.docmdp_ok


def test_the_print_tells_at_which_event_the_log_stood() -> None:
    site = _site()
    assert making.print_of(_visit(site, Act.SEE)).newest == Event.objects.order_by("-seq")[0].seq


@pytest.mark.parametrize("error", [PrintingError("the press is away"), KeyFaultError("the press is away")])
def test_a_paper_that_cannot_be_made_is_answered_in_words(error: Exception, monkeypatch: Any) -> None:
    def fails(*_given: object) -> bytes:
        raise error

    site = _site()
    monkeypatch.setattr(making, "pdf_of", fails)
    answer = signed_in(make.user(site, SiteRole.TENDER)).get(
        f"/{site.key}/papers/wall/", {"size": "A4", "turned": "tall"}
    )
    assert answer.status_code == 503
    assert "the press is away" in answer.content.decode()


def test_what_would_break_its_standard_is_not_sealed() -> None:
    keys.ensure()
    with pytest.raises(NotPublishedError, match=r"paper\.pdf was not published"):
        sealed(b"%PDF-1.7 no paper", keys.seal_material(), "paper.pdf")


def test_a_seal_that_cannot_be_set_says_why() -> None:
    pdf = pdf_of(_paper(), Print(_site(), AT, "Ina Test", 42))
    with pytest.raises(PrintingError, match="Error"):
        sealed(pdf, keys.SealMaterial(b"no key", b"no certificate", ""), "paper.pdf")
