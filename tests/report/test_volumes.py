"""Volumes of a report: read back from the PDF, taken again while nothing changed, and never without their seal."""

from __future__ import annotations

import base64
import io
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pikepdf
import pytest
from django.template.loader import render_to_string

from facility import events, services
from facility.models import Check, Event, Volume
from facility.papers.printing import STYLE, of_size, pressed
from facility.report import changes, checks, front, gaps, summary
from facility.report.build import BuiltVolume, Scope, closed_month, volumes
from facility.report.pages import REPORT_STYLE, sheet_of
from facility.report.scope import Frame
from facility.report.sealing_check import faults_of
from facility.report.shape import Picture, Section
from maintenance.models import Defect
from tests import make
from tests.treatments.after.pdf_text import pages_of

pytestmark = pytest.mark.django_db
HOSTILE = '<script>alert(1)</script><img src="http://127.0.0.1:9/">'


def build(scope: Scope) -> list[BuiltVolume]:
    """Return the volumes of a scope."""
    return volumes(scope, tell=lambda _sentence: None)


@pytest.fixture(autouse=True)
def _folder(settings: Any, tmp_path: Any) -> None:
    settings.DATA_DIR = tmp_path


def _scope(site: Any, **more: Any) -> Scope:
    return Scope(site, None, date(2026, 2, 1), date(2026, 2, 28), **more)


def test_a_report_is_read_back_with_the_counts_of_the_database() -> None:
    site = make.site(name=HOSTILE)
    make.work(make.rule(make.equipment(site, tag="DG-<b>", name=HOSTILE)), date(2026, 2, 9), note=HOSTILE)
    day = date.today()  # noqa: DTZ011  # the day on which the test records
    scope = Scope(site, None, day - timedelta(days=2), day + timedelta(days=1))
    built = build(scope)
    assert built[0].name == "report-1-summary.pdf"
    told = " ".join(" ".join(pages_of(built[0].path.read_bytes())).split())
    count = Event.objects.filter(site_id_text=site.key).count()
    assert f"{count} entries, 0 corrected, 0 voided, 0 late, 0 gaps; 0 taken in later from files" in told
    for one in built:
        assert faults_of(one.path.read_bytes()) == []
        with pikepdf.open(io.BytesIO(one.path.read_bytes())) as document:
            assert len(document.pages) == one.pages


def test_a_month_is_taken_again_until_a_late_entry_changes_it() -> None:
    site = make.site()
    rule = make.rule(make.equipment(site))
    first, last = date(2026, 2, 1), date(2026, 2, 28)
    make.work(rule, date(2026, 2, 3))
    before = closed_month(_scope(site), first, last)
    assert [one.warm for one in before] == [False]
    again = closed_month(_scope(site), first, last)
    assert [(one.sha256, one.warm) for one in again] == [(before[0].sha256, True)]
    make.work(rule, date(2026, 2, 9))
    after = closed_month(_scope(site), first, last)
    assert after[0].sha256 != before[0].sha256
    assert Volume.objects.filter(site=site, month="2026-02").count() == 2  # the old one and the new one
    summary = build(_scope(site))[0]
    assert before[0].sha256[:16].upper() in "".join(" ".join(pages_of(summary.path.read_bytes())).split())


def test_a_volume_whose_file_was_changed_is_made_anew() -> None:
    site = make.site()
    first, last = date(2026, 2, 1), date(2026, 2, 28)
    make.work(make.rule(make.equipment(site)), date(2026, 2, 9))
    before = closed_month(_scope(site), first, last)[0]
    before.path.write_bytes(b"%PDF-1.7 something else")
    assert not closed_month(_scope(site), first, last)[0].warm


def test_a_correction_is_counted_as_the_log_has_it() -> None:
    site = make.site()
    item = make.equipment(site)
    item.name = "Depth gauge 2"
    services.change(item, by=make.BY, reason="typed wrongly", shown_version=1)
    day = date.today()  # noqa: DTZ011  # as above
    frame = Frame(
        Scope(site, None, day - timedelta(days=1), day + timedelta(days=1)),
        day - timedelta(days=1),
        day + timedelta(days=1),
        day,
    )
    told = changes.tally(frame)
    assert told.corrected == 1
    assert told.entries == Event.objects.filter(site_id_text=site.key).count()


def test_a_day_without_its_daily_check_is_a_gap() -> None:
    site = make.site(zone="UTC")
    sheet = make.sheet(make.chamber(site))
    begun = datetime(2026, 2, 1, 8, tzinfo=UTC)
    for day in (0, 2):
        at = begun + timedelta(days=day)
        services.add(Check(sheet=sheet, version=sheet.versions.get(), number=day + 1, state="signed", result="passed",
                           started_at=at, started_by="Ina", signed_at=at, signed_by="Ina"), by=make.BY)  # fmt: skip
    frame = Frame(
        Scope(site, None, date(2026, 2, 1), date(2026, 2, 3)), date(2026, 2, 1), date(2026, 2, 3), date(2026, 3, 1)
    )
    found = checks.checks_of(frame)
    assert [one.span for one in found.missing] == [gaps.Span(date(2026, 2, 2), date(2026, 2, 2))]
    assert found.signed == Check.objects.filter(sheet=sheet, state="signed").count()


def test_what_must_be_seen_in_one_look_stands_on_the_first_page_of_either_paper() -> None:
    """Scope, counts, each sort of disorder, what is proved, how to verify, fingerprints and digests."""
    site = make.site(zone="UTC")
    make.work(make.rule(make.equipment(site)), date(2026, 2, 9))
    sheet = make.sheet(make.chamber(site))
    services.add(Check(sheet=sheet, version=sheet.versions.get(), number=1, state="signed", result="passed", started_by="Ina",
                       started_at=datetime(2026, 2, 1, 8, tzinfo=UTC), signed_at=datetime(2026, 2, 1, 8, tzinfo=UTC),
                       signed_by="Ina"), by=make.BY)  # fmt: skip
    for number in range(60):
        services.add(Defect(site=site, number=number, equipment=make.equipment(site), what="leaks " * 30, effect="watch",
                            found_at=datetime(2026, 2, 3, 9, tzinfo=UTC)), by=make.BY)  # fmt: skip
    for paper in ("A4", "Letter"):
        first = " ".join(
            pages_of(build(_scope(site, paper=paper, words="the whole site"))[0].path.read_bytes())[0].split()
        )
        for wanted in ("Scope: the whole site", "60 Open defects", "0 Late entries", "0 Corrections", "0 Waivers", "Gaps",
                       "0 Runs outside the house rules", "0 Deviations from codes", "Numbers from memory", "Overdue items",
                       "58 more", "What this report proves", "It does not prove that a reading was true", "verify.html",
                       "python3 verify.py", *(digits for _label, digits in front._digests())):  # fmt: skip
            assert wanted in first, (paper, wanted)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_fullest_first_page_ends_with_the_last_digest(paper: str) -> None:
    """Nine sorts of disorder with two long lines each, a scope of one code and a ground in two lines."""
    site = make.site(zone="UTC", name="Recompression facility of the northern harbours and fishing grounds")
    scope = _scope(site, paper=paper)
    frame = Frame(scope, scope.from_day, scope.to_day, date(2026, 3, 1))
    opening = summary.volume(frame, [], checks.checks_of(frame))
    assert opening.front is not None
    full = tuple(
        replace(row, count=9999, lines=("M" * front.BRIEF_LETTERS,) * front.BRIEF_ROWS, more="9997 more")
        for row in opening.front.rows
    )
    page = replace(opening.front, rows=full, about="It is about everything that a visit can ask. " * 10)
    with_rest = replace(opening, front=page, sections=(*opening.sections, Section("What follows", "The other volumes")))
    sheet = sheet_of(with_rest, scope)
    pages = pages_of(pressed(sheet.html, STYLE, sheet.css.removeprefix(STYLE.read_text(encoding="utf-8"))))
    label, digits = front._digests()[-1]
    assert len(full) == 9
    assert label in pages[0]
    assert digits in " ".join(pages[0].split())


def test_a_check_keyed_in_from_paper_is_not_called_late() -> None:
    site = make.site(zone="UTC")
    sheet = make.sheet(make.chamber(site))
    at = datetime(2026, 2, 1, 8, tzinfo=UTC)
    services.add(Check(sheet=sheet, version=sheet.versions.get(), number=1, state="signed", result="passed", on_paper=True,
                       started_at=at, started_by="Ina", signed_at=at, signed_by="Ina"), by=make.BY)  # fmt: skip
    day = at.date()
    found = checks.checks_of(Frame(Scope(site, None, day, day), day, day, date(2026, 3, 1)))
    assert [marks[day] for _chamber, marks in found.calendars] == [gaps.Mark.PAPER]
    assert not found.late


def test_a_month_says_of_what_nothing_was_recorded() -> None:
    """No record is a finding too: what has none is named, not left out."""
    site = make.site()
    make.work(make.rule(make.equipment(site)), date(2026, 2, 9))
    told = " ".join(
        " ".join(pages_of(closed_month(_scope(site), date(2026, 2, 1), date(2026, 2, 28))[0].path.read_bytes())).split()
    )
    assert "Nothing was recorded of these days in: Checks, day by day; Runs; Waivers; Comparisons" in told
    assert "Records of work: 1; not passed: 0" in told


def test_what_was_entered_after_the_days_is_a_late_entry_of_them() -> None:
    """A year told in January: what happened in December and was entered since is late, and stands on the first page."""
    site = make.site(zone="UTC")
    item = make.equipment(site)
    for action in ("recorded", "recorded", changes.FROM_FILES):
        told = events.What(action, occurred_at=datetime(2026, 2, 9, 8, tzinfo=UTC), late=True, site_key=site.key)
        events.record(item, told, by=make.BY)
    for done_on in ("2026-02-28", "2026-03-01"):  # a record that knows the day alone
        told = events.What("work recorded", after={"done_on": done_on}, late=True, site_key=site.key)
        events.record(item, told, by=make.BY)
    told = events.What("recorded", occurred_at=datetime(2026, 1, 9, 8, tzinfo=UTC), late=True, site_key=site.key)
    events.record(item, told, by=make.BY)  # of another month
    scope = _scope(site)
    frame = Frame(scope, scope.from_day, scope.to_day, date(2026, 3, 1))
    assert changes.late_about(frame).count() == 3
    assert not changes.late(frame).exists()
    opening = front.page(frame, checks.checks_of(frame), [])
    assert "3 late, " in opening.counts
    assert "3 late entries, 1 taken in from files" in opening.about


def test_late_entries_that_share_a_row_are_counted_one_by_one() -> None:
    """Thirty readings, a reading of another person, thirty more, and two of others: 63 in five rows, 32 beyond the first two."""
    site = make.site(zone="UTC")
    item = make.equipment(site)
    for who in (*["Ina"] * 30, "Bo", *["Ina"] * 30, "Cai", "Dag"):
        told = events.What("recorded", occurred_at=datetime(2026, 2, 9, 8, tzinfo=UTC), late=True, site_key=site.key)
        events.record(item, told, by=events.Actor(who))
    frame = Frame(_scope(site), date(2026, 2, 1), date(2026, 2, 28), date(2026, 3, 1))
    opening = summary.volume(frame, [], checks.checks_of(frame))
    (late,) = [one for one in opening.sections if one.title == "Late entries"]
    assert (late.count, len(late.tables[0].rows), late.notes) == (63, 5, ())
    (row,) = [one for one in opening.front.rows if one.title == "Late entries"] if opening.front else [None]
    assert row is not None
    assert (row.count, row.more) == (63, "32 more")


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_two_pictures_stand_abreast_on_either_sheet(size: str) -> None:
    """Eight of 70 mm in height: four rows are 280 mm and fill two pages; one below the other they would fill three or more."""
    svg = (
        "data:image/svg+xml;base64,"
        + base64.b64encode(
            b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 86 70"><path d="M0 0h86v70"/></svg>'
        ).decode()
    )
    pictures = [Picture(svg, "a curve", f"curve {number}", half=True) for number in range(8)]
    told = render_to_string("report/parts/pictures.html", {"pictures": pictures})
    page = f'<!DOCTYPE html><html lang="en"><head><title>x</title></head><body><h1>x</h1>{told}</body></html>'
    with pikepdf.open(
        io.BytesIO(pressed(page, STYLE, REPORT_STYLE.read_text(encoding="utf-8") + of_size(size)))
    ) as document:
        assert len(document.pages) == 2
