"""Papers of a run: what stands on them, what never does without the right, and that they are whole documents."""

from __future__ import annotations

import io
from datetime import timedelta
from typing import Any

import pikepdf
import pytest
from django.urls import reverse

from facility import services
from facility.models import Event, SiteRole
from facility.papers import printing
from facility.papers.press import press
from facility.report.sealing_check import faults_of
from tests import make
from tests.treatments.after.pdf_text import everything_in, pages_of
from tests.treatments.after.support import CLINICAL, SECRET, Whole, closed, sign_as, whole_six
from tests.treatments.opening.support import opened
from tests.treatments.recording.support import entry, signed_in
from treatments.models import LogEntry, LogKind
from treatments.opening.clinical import add_clinical

pytestmark = pytest.mark.django_db
NAME = SECRET.split()[0]


@pytest.fixture
def whole() -> Whole:
    """Return a signed record with a late, a corrected and a struck line, and texts about health."""
    found = whole_six(table_standing="unconfirmed")
    run = found.run
    pain = entry(run, LogKind.SYMPTOM, 40, occupant=found.patient, values={"code": "pain"})
    add_clinical(run, CLINICAL, found.patient, pain, make.BY)
    entry(run, LogKind.NOTE, 61, remark="hatch squeaks", late=True)
    wrong = entry(run, LogKind.READING, 50, values={"o2_percent": "21.4"})
    services.supersede(
        wrong,
        LogEntry(
            run=run, kind=LogKind.READING, occurred_at=make.NOON + timedelta(minutes=50), values={"o2_percent": "22.4"}
        ),
        by=make.BY,
        reason="misread",
    )
    services.retire(entry(run, LogKind.NOTE, 62, remark="wrong run"), by=make.BY, reason="of another chamber")
    closed(found)
    sign_as(found, SiteRole.OPERATOR, "supervisor")
    return found


def paper(whole: Whole, role: SiteRole, **asked: Any) -> Any:
    client = signed_in(make.user(whole.run.chamber.site, role))
    return client.post(whole.page("treatment_record"), asked) if asked else client.get(whole.page("treatment_record"))


def test_the_record_shows_the_log_with_its_marks_the_figures_and_the_signature(whole: Whole) -> None:
    answer = paper(whole, SiteRole.INSPECTOR)
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="run-1-record.pdf"'
    pages = pages_of(answer.content)
    text = " ".join(" ".join(pages).split())
    for said in (
        "patient 1", "Late entry", "Corrected: misread", "21.4 % O2", "22.4 % O2", "Struck: of another chamber", "wrong run",
        "240.0 min", "644.5", "outside the table", "Signatures", "Ina Test", "Physician", "not signed",
        "advises no table, no dose and no decompression", "from memory", "None by more than the tolerances",
        f"Record R-{whole.run.pk}", "with a text about health, kept apart", whole.record.digest,
    ):  # fmt: skip
        assert said in text, said
    for number, page in enumerate(pages, 1):
        assert f"page {number} / {len(pages)}" in " ".join(page.split())
        assert "printed" in page


def test_each_line_of_the_log_carries_the_number_of_the_event_that_stored_it(whole: Whole) -> None:
    text = " ".join(" ".join(pages_of(paper(whole, SiteRole.INSPECTOR).content)).split())
    stored = Event.objects.filter(subject_kind="treatments.logentry").order_by("-seq")
    first = dict(stored.values_list("subject_id", "seq"))
    numbers = [first[line.entry.pk] for line in whole.record.lines]
    assert len(set(numbers)) > 3
    assert [number for number in numbers if f"event {number} " not in text] == []


@pytest.mark.parametrize(
    "role", [SiteRole.INSPECTOR, SiteRole.TENDER, SiteRole.OPERATOR, SiteRole.PHYSICIAN, SiteRole.DIRECTOR]
)
def test_no_paper_names_a_patient_unless_asked_by_somebody_with_the_right(whole: Whole, role: SiteRole) -> None:
    """Markers in every field of the identity and in the texts, looked for in text, metadata, tags and raw bytes."""
    answer = paper(whole, role)
    leaves = everything_in(answer.content) + " ".join(pages_of(answer.content)).encode()
    for marker in (NAME, "Nameleak", "Clinicalleak", "1980-05-04"):
        assert marker.encode() not in leaves
        assert marker.encode("utf-16-be") not in leaves
        assert marker not in str(answer.headers)


@pytest.mark.parametrize(
    ("asked", "there", "absent"),
    [
        ({"name": "on"}, NAME, "Clinicalleak"),
        ({"clinical": "on"}, "Clinicalleak", NAME),
    ],
)
def test_who_has_the_right_is_told_what_was_ticked_and_it_is_kept(
    whole: Whole, asked: dict[str, str], there: str, absent: str
) -> None:
    text = " ".join(pages_of(paper(whole, SiteRole.PHYSICIAN, **asked).content))
    assert there in text
    assert absent not in text
    assert "Give it to nobody without the right to it" in " ".join(text.split())
    event = Event.objects.latest("seq")
    assert event.action == "record printed with patient"
    assert "leak" not in event.payload


@pytest.mark.parametrize("role", [SiteRole.INSPECTOR, SiteRole.TENDER, SiteRole.OPERATOR, SiteRole.MAINTAINER])
def test_who_lacks_the_right_gets_no_name_by_asking(whole: Whole, role: SiteRole) -> None:
    assert paper(whole, role, name="on").status_code == 403
    assert (
        "With who the patient is"
        not in signed_in(make.user(whole.run.chamber.site, role)).get(whole.page("after_run")).content.decode()
    )


def test_without_a_tick_nothing_is_printed(whole: Whole) -> None:
    assert paper(whole, SiteRole.PHYSICIAN, other="1").status_code == 302


def test_a_paper_says_by_its_own_metadata_what_it_is_made_by(whole: Whole, tmp_path: Any) -> None:
    """PDF/A-3a and PDF/UA-1 (ISO 19005-3, ISO 14289-1): identification, tags, language, title."""
    file = tmp_path / "record.pdf"
    file.write_bytes(paper(whole, SiteRole.OPERATOR).content)
    with pikepdf.open(file) as document:
        metadata = bytes(document.Root.Metadata.read_bytes())
        assert b"<pdfuaid:part>1</pdfuaid:part>" in metadata
        assert b"pdfaid:part" in metadata
        assert bool(document.Root.MarkInfo.Marked)
        assert str(document.Root.Lang) == "en"
        assert bool(document.Root.ViewerPreferences.DisplayDocTitle)


def test_papers_of_a_full_record_keep_what_their_metadata_promise(whole: Whole) -> None:
    """By a validator of PDF/A-3a and PDF/UA-1 that did not make them."""
    given = {"name": "on", "clinical": "on"}
    assert faults_of(paper(whole, SiteRole.PHYSICIAN, **given).content) == []
    boss = signed_in(make.supervisor(whole.run.chamber.site))
    page = reverse("treatments:personal_log", args=[whole.run.chamber.site.key, whole.tender_person.pk])
    assert faults_of(boss.get(page).content) == []


def test_a_void_signature_is_struck_on_the_paper(whole: Whole) -> None:
    entry(whole.run, LogKind.NOTE, 63, remark="one more")
    text = " ".join(" ".join(pages_of(paper(whole, SiteRole.OPERATOR).content)).split())
    assert "Void: the record changed after it was signed." in text
    assert "Signatures are void until it is closed anew" in text


def test_the_personal_log_has_the_runs_and_who_signed(whole: Whole) -> None:
    boss = signed_in(make.supervisor(whole.run.chamber.site))
    page = reverse("treatments:personal_log", args=[whole.run.chamber.site.key, whole.tender_person.pk])
    text = " ".join(" ".join(pages_of(boss.get(page).content)).split())
    for said in (
        "Personal log of Tove Holm",
        "inside tender",
        "288.0",
        "60.0",
        "142.6",
        "Ina Test",
        "page 1 / 1",
        "4 h 48",
    ):
        assert said in text, said
    assert NAME not in text


def test_a_run_of_which_nothing_was_logged_has_no_profile_on_paper() -> None:
    run = opened(make.chamber(make.site()))
    type(run).objects.filter(pk=run.pk).update(
        started_at=make.NOON, ended_at=make.NOON + timedelta(hours=2), shown=""
    )  # as a record taken in from a file
    boss = signed_in(make.supervisor(run.chamber.site))
    answer = boss.get(reverse("treatments:treatment_record", args=[run.chamber.site.key, run.pk]))
    text = " ".join(" ".join(pages_of(answer.content)).split())
    assert "Nothing was logged." in text
    assert "Depths as logged" not in text
    assert "What was shown when it started Nothing was kept of it." in text


def test_the_naming_form_offers_both_sheets(whole: Whole) -> None:
    """ANSI/ASME Y14.1: Letter is 8.5 by 11 inches, 612 by 792 points; ISO 216: A4 is 210 by 297 mm, 595 by 842 points."""
    boss = signed_in(make.user(whole.run.chamber.site, SiteRole.PHYSICIAN))
    page = boss.get(whole.page("after_run")).content.decode()
    assert 'name="size"' in page
    assert '<option value="Letter">' in page
    for size, wide in (("A4", 595), ("Letter", 612)):
        with pikepdf.open(io.BytesIO(paper(whole, SiteRole.PHYSICIAN, name="on", size=size).content)) as document:
            assert round(float(document.pages[0].mediabox[2])) == wide


@pytest.mark.parametrize("address", ["file:///etc/hostname", "http://127.0.0.1:9/x.png", "data:text/html,x"])
def test_the_page_maker_fetches_nothing_from_outside(address: str) -> None:
    from weasyprint.urls import FatalURLFetchingError

    html = f'<html lang="en"><head><title>x</title></head><body><img alt="x" src="{address}"></body></html>'
    job = {"html": html, "css": printing.STYLE.read_text(), "font": str(printing.font_file())}
    with pytest.raises(FatalURLFetchingError):
        press(job)


def test_a_paper_that_cannot_be_made_is_said_and_nothing_half_is_sent(
    whole: Whole, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(printing, "font_file", lambda: "/nowhere/at/all")
    answer = paper(whole, SiteRole.OPERATOR)
    assert (answer.status_code, b"%PDF" in answer.content) == (503, False)
    assert "could not be made" in answer.content.decode()
