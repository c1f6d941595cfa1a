"""The history of one item: everything on record, corrected rows too, each with the number of its event."""

from __future__ import annotations

import io
from datetime import UTC, date, datetime
from typing import Any

import pikepdf
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from facility import services
from facility.models import Answer, Event, Outcome, Site, SiteRole
from facility.report.sealing_check import faults_of
from facility.small_papers.item_history import frame_of, history_paper
from facility.small_papers.item_rows import rows_of
from facility.small_papers.making import Paper, Print, pdf_of
from facility.walk import services as walking
from maintenance.models import Defect, Equipment, WorkRecord
from maintenance.services import correct_work, record_work
from tests import make
from tests.maintenance.calibrating import support
from tests.small_papers.reading import signed_in, text_of

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 12, 12, 0, tzinfo=UTC)


def printed(site: Site) -> Print:
    """Return a print of now."""
    return Print(site, AT, "Ina Test", Event.objects.count())


def paper_of(item: Equipment) -> Paper:
    """Return the paper of an item."""
    return history_paper(item, printed(item.site))


def texts(paper: Paper, title: str) -> list[tuple[str, ...]]:
    """Return the rows of the table of one section as texts."""
    (section,) = (one for one in paper.sections if one.title == title)
    return [tuple(cell.text for cell in row) for table in section.tables for row in table.rows]


@pytest.fixture
def gauge() -> Equipment:
    """Return a gauge with a rule adopted from nobody, two acts of which one was corrected, and a comparison."""
    site = make.site()
    item = make.equipment(site, tag="G-1", maker="Holm", serial="7")
    rule = make.rule(item)
    record_work(WorkRecord(equipment=item, rule=rule, done_on=date(2025, 3, 1), done_by="Ina Test"), by=make.BY)
    wrong = record_work(
        WorkRecord(equipment=item, rule=rule, done_on=date(2025, 9, 11), done_by="Ina Test"), by=make.BY, late=True
    )
    right = WorkRecord(equipment=item, rule=rule, done_on=date(2025, 9, 1), done_by="Ina Test")
    correct_work(wrong, right, by=make.BY, reason="read 11 for 1")
    support.comparison(item, support.certificate(support.reference(site)), rule)
    return item


def test_every_act_stands_there_in_order_and_a_corrected_one_says_so(gauge: Equipment) -> None:
    told = [row[0::2] for row in texts(paper_of(gauge), "What was done and what happened")]
    work = list(WorkRecord.objects.order_by("done_on", "pk"))
    assert [row[0] for row in told] == ["1 Mar 2025", "1 Sep 2025", "11 Sep 2025", "1 Mar 2026"]
    assert [row[1] for row in told] == ["passed", "passed", "passed; no longer counts", "passed"]
    first = {
        pk: Event.objects.filter(subject_kind="maintenance.workrecord", subject_id=pk).order_by("seq")[0].seq
        for pk in (row.pk for row in work)
    }
    assert [row[2] for row in told] == [f"event {first[row.pk]}" for row in work]


def test_corrections_and_late_entries_are_told_with_reason_and_number(gauge: Equipment) -> None:
    paper = paper_of(gauge)
    title = "Corrections, what no longer counts, and late entries"
    (row,) = texts(paper, title)
    assert row[2] == "read 11 for 1"
    (section,) = (one for one in paper.sections if one.title == title)
    late = Event.objects.get(late=True)
    assert section.notes == (f"Entered late: event {late.seq}.",)


def test_a_comparison_stands_there_with_its_drift_and_its_reference(gauge: Equipment) -> None:
    paper = paper_of(gauge)
    (section,) = (one for one in paper.sections if one.title == "Comparisons")
    assert len(section.pictures) == 1
    (row,) = texts(paper, "Comparisons")
    assert (row[0], row[1]) == ("1 Mar 2026", "Test gauge 1, N-1")
    assert row[2] == "0.11 bar"  # by hand: down at 4 bar reads 4.11


def test_the_words_of_the_drift_are_in_the_type_of_the_paper(gauge: Equipment) -> None:
    """Every font in the file is the one that papers are set in: nothing fell back to another."""
    with pikepdf.open(io.BytesIO(pdf_of(paper_of(gauge), printed(gauge.site)))) as document:
        fonts = {
            str(one.BaseFont) for one in document.objects if isinstance(one, pikepdf.Dictionary) and "/BaseFont" in one
        }
    assert fonts
    assert {font for font in fonts if "Plex" not in font} == set()


def test_what_was_read_outside_limits_on_a_check_and_in_a_test_stands_there() -> None:
    site = make.site()
    chamber = make.chamber(site)
    item = make.equipment(site, tag="G-2", chamber=chamber)
    steps = [dict(step) for step in make.STEPS]
    steps[1]["tag"] = "G-2"
    check, _new = walking.start(make.sheet(chamber, steps), by=make.BY)
    services.add(Answer(check_done=check, step="supply", outcome=Outcome.BAD, value="6.1", unit="bar"), by=make.BY)
    services.add(Answer(check_done=check, step="door", outcome=Outcome.BAD), by=make.BY)
    reading = {
        "name": "p",
        "label": "set pressure",
        "value": "9",
        "unit": "bar",
        "low": "",
        "high": "8",
        "outcome": "outside limits",
    }
    record_work(
        WorkRecord(equipment=item, done_on=date(2026, 1, 2), done_by="Ina Test", readings=[reading]), by=make.BY
    )
    told = texts(paper_of(item), "Readings outside limits, and what could not be read")
    assert {row[1:4] for row in told} == {
        ("Oxygen supply", "6.1 bar", "7.5 to 9.0 bar"), ("set pressure", "9 bar", "at most 8 bar"),
    }  # fmt: skip


def test_an_open_defect_is_not_back_and_a_restriction_lasts(gauge: Equipment) -> None:
    defect = Defect(site=gauge.site, equipment=gauge, number=12, what="sticks at 3 bar", effect="limits", found_at=AT)
    services.add(defect, by=make.BY)
    paper = paper_of(gauge)
    assert [row[:4:3] for row in texts(paper, "Defects and returns")] == [("0012", "not yet")]
    told = texts(paper, "Restrictions, and waivers of a need that it serves")
    assert [row[0:3:2] for row in told] == [("restricted by defect 0012", "still")]


def test_an_item_without_records_says_so_in_each_part() -> None:
    paper = paper_of(make.equipment(tag="EMPTY"))
    nothing = [table.nothing for section in paper.sections for table in section.tables if not table.rows]
    assert len(nothing) == 7
    assert all(nothing)


def test_the_number_of_queries_does_not_grow(gauge: Equipment) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as taken:
            paper_of(Equipment.objects.select_related("site", "chamber", "lock").get(pk=gauge.pk))
        return len(taken)

    before = queries()
    for month in range(1, 11):
        record_work(
            WorkRecord(equipment=gauge, rule=gauge.rules.get(), done_on=date(2024, month, 1), done_by="Ina"), by=make.BY
        )
    assert queries() == before


def test_the_paper_keeps_its_standards_and_hostile_names_stay_text(gauge: Equipment) -> None:
    gauge.name = "<script>alert(1)</script>"
    pdf = pdf_of(paper_of(gauge), printed(gauge.site))
    assert faults_of(pdf) == []
    said = text_of(pdf)
    assert "<script>alert(1)</script>" in said
    assert "read 11 for 1" in said


def test_the_page_asks_first_then_sends_and_an_unknown_tag_is_not_found(gauge: Equipment) -> None:
    client = signed_in(make.user(gauge.site, SiteRole.INSPECTOR))
    page: Any = client.get(f"/{gauge.site.key}/papers/equipment/G-1/")
    assert b"History of G-1" in page.content
    answer = client.get(f"/{gauge.site.key}/papers/equipment/G-1/", {"size": "Letter"})
    assert answer["Content-Type"] == "application/pdf"
    assert client.get(f"/{gauge.site.key}/papers/equipment/G-9/").status_code == 404
    assert b"/papers/equipment/G-1/" in client.get(reverse("maintenance:item", args=[gauge.site.key, gauge.pk])).content


def test_an_item_taken_out_of_the_records_keeps_its_history(gauge: Equipment) -> None:
    services.retire(gauge, by=make.BY, reason="scrapped")
    facts = dict(paper_of(gauge).sections[0].facts)
    assert facts["Taken out of the records"].endswith("scrapped")
    assert rows_of(gauge, frame_of(gauge, printed(gauge.site))).work
