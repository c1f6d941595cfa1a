"""A check as a paper: numbered as the blank sheet, every answer, correction, late mark and signature, nothing left out."""

from __future__ import annotations

import re
import uuid
from datetime import UTC, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from facility import services as kept
from facility.compute.sheets import Typed
from facility.models import Answer, Check, CheckState, Event, Signature, SiteRole
from facility.report.sealing_check import faults_of
from facility.small_papers.check import check_paper
from facility.small_papers.making import Print, html_of, pdf_of
from facility.walk import answering
from facility.walk.answering import Slip
from tests import make
from tests.small_papers.reading import signed_in, sizes_of, text_of
from tests.walk.walking import World, all_good, begin, give, sign, world

pytestmark = pytest.mark.django_db
AT = datetime(2026, 11, 28, 11, 0, tzinfo=UTC)
#: ISO 216, in points of 1/72 inch
A4 = (595, 842)


def _printed(w: World) -> Print:
    return Print(w.site, AT, "Ina Test", 42)


def _found(check: Check) -> Check:
    return Check.objects.select_related("version", "sheet__chamber__site").get(pk=check.pk)


def _page(w: World, check: Check) -> str:
    return html_of(check_paper(_found(check), _printed(w)), _printed(w))


def _rows(page: str) -> list[str]:
    """Return the rows of steps, without those that open a group."""
    return re.findall(r"<tr><td.*?</tr>", page, re.DOTALL)


@pytest.fixture
def walked() -> tuple[World, Check]:
    """Return a check with a reading out of limits, one corrected, one late, one without an answer, signed."""
    w = world()
    check = begin(w)
    give(w, check, "door", Typed("bad"), note="a cut at the hinge")
    wrong = give(w, check, "supply", Typed(value="6.9")).answer
    answering.correct(wrong.pk, Slip(Typed(value="8.2"), "read the other gauge", uuid.uuid4()), site=w.site, by=w.by)
    give(w, check, "speech", Typed("good"), second=w.second.pk, seconds_ago=7200)
    sign(w, check)
    return w, check


def test_the_numbers_are_those_of_the_blank_sheet(walked: tuple[World, Check]) -> None:
    w, check = walked
    client = signed_in(w.user)
    blank = client.get(f"/{w.site.key}/checks/blank/{w.sheet.pk}/1/").content.decode()
    wanted = re.findall(r"<tr><td>(\d+\.\d+)</td><td>([^<]+?)\s*<", blank)
    assert len(wanted) == 4
    page = _page(w, check)
    assert re.findall(r'<td rowspan="\d+">(\d+\.\d+)</td><th[^>]*>([^<]+?)\s*<', page) == wanted


def test_every_answer_stands_there_with_its_limits_and_event(walked: tuple[World, Check]) -> None:
    w, check = walked
    page = _page(w, check)
    answers = Answer.objects.filter(check_done=check)
    for answer in answers:
        entry = Event.objects.get(subject_kind="facility.answer", subject_id=answer.pk).seq
        assert f"event {entry}" in page
    assert "7.5 to 9.0 bar" in page
    assert "a cut at the hinge" in page
    assert page.count("no answer") == 1
    assert f"with {w.second.name}" in page
    assert "late, entered" in page


def test_a_corrected_answer_is_struck_through_with_its_reason(walked: tuple[World, Check]) -> None:
    page = _page(*walked)
    assert re.search(r"<s>6\.9 bar\s+Outside limits</s>\s*corrected: read the other gauge", page)
    assert "<b>8.2 bar</b>" in page


def test_the_counts_are_those_of_the_rows(walked: tuple[World, Check]) -> None:
    page = _page(*walked)
    assert (
        "4 steps. Answers that count: within limits: 2, outside limits: 1; late among them: 1. Corrected: 1. Without an answer: 1."
        in page
    )
    # three answers that count, one corrected, one step without: a line each
    assert len(_rows(page)) == 5


def test_a_signature_holds_or_is_void(walked: tuple[World, Check]) -> None:
    w, check = walked
    assert "It holds: the content is what was signed." in _page(w, check)
    Signature.objects.filter(check_done=check).update(shown_sha256="0" * 64)
    page = _page(w, check)
    assert "The signature is void" in page
    assert f"<s>{w.user}</s>" in page


def test_a_check_that_is_not_signed_counts_for_nothing() -> None:
    w = world()
    check = begin(w)
    all_good(w, check)
    page = _page(w, check)
    assert "it counts for nothing" in page
    assert "Not signed." in page
    assert "passed" not in page


def test_a_check_taken_in_from_a_file_is_no_signature_of_this_box() -> None:
    w = world()
    old = Check(
        sheet=w.sheet, version=w.sheet.versions.get(), number=9, state=CheckState.SIGNED, started_at=AT,
        started_by="Ada Test", signed_at=AT, signed_by="Ada Test", result="passed", on_paper=True,
    )  # fmt: skip
    page = _page(w, kept.add(old, by=make.BY))
    assert "Taken in from a file as signed by Ada Test" in page
    assert "The box holds no answer to any step of this check" in page


def test_the_pdf_keeps_its_standards_and_hostile_text_stays_text() -> None:
    w = world()
    check = begin(w)
    give(w, check, "door", Typed("bad"), note="<a rel=attachment href='file:///etc/passwd'>=1+1</a>")
    printed = _printed(w)
    pdf = pdf_of(check_paper(_found(check), printed), printed)
    assert faults_of(pdf) == []
    assert sizes_of(pdf) == {A4}
    assert b"/EmbeddedFile" not in pdf
    said = text_of(pdf)
    assert "<arel=attachmenthref='file:///etc/passwd'>=1+1</a>" in said.replace(" ", "")  # broken into lines
    assert "page 1 / 1" in said
    assert f"Check C-{check.number}, event" in said


def test_the_number_of_queries_does_not_grow_with_steps() -> None:
    def queries(steps: int) -> int:
        w = world(steps=[{"key": f"s{n}", "group": "One", "kind": "look", "text": f"Step {n}", "effect": "limits"} for n in range(steps)])  # fmt: skip
        check = begin(w)
        for number in range(steps):
            give(w, check, f"s{number}", Typed("good"))
        found = _found(check)
        with CaptureQueriesContext(connection) as taken:
            check_paper(found, _printed(w))
        return len(taken)

    assert queries(2) == queries(12)


def test_the_page_asks_for_the_sheet_and_another_sites_check_is_not_there(walked: tuple[World, Check]) -> None:
    w, check = walked
    client = signed_in(make.user(w.site, SiteRole.INSPECTOR))
    assert b"Make the PDF" in client.get(f"/{w.site.key}/papers/check/{check.pk}/").content
    assert client.get(f"/{w.site.key}/papers/check/{check.pk}/", {"size": "A4"})["Content-Type"] == "application/pdf"
    elsewhere = make.site()
    stranger = signed_in(make.user(elsewhere, SiteRole.DIRECTOR))
    assert stranger.get(f"/{elsewhere.key}/papers/check/{check.pk}/").status_code == 404
    assert f"/papers/check/{check.pk}/" in client.get(f"/{w.site.key}/checks/{check.pk}/").content.decode()
