"""Pictures of a report fit the page of either paper, however many months and people there are; their legends fit the picture."""

from __future__ import annotations

import base64
import re
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from django.template.loader import render_to_string

from facility import services
from facility.models import Check, QualificationHeld
from facility.papers.printing import STYLE, pressed
from facility.report import drawing, gaps, people
from facility.report.calendars import calendars, legend
from facility.report.gaps import Mark
from facility.report.pages import REPORT_STYLE
from facility.report.scope import Frame, Scope
from facility.report.shape import Section, Table
from tests import make
from tests.treatments.after.pdf_text import pages_of

if TYPE_CHECKING:
    from facility.report.shape import Picture

pytestmark = pytest.mark.django_db
#: mm: ANSI Letter and ISO 216 A4 less the margins of facility/papers/paper.css (15 beside, 16 above, 18 below), and for
#: the head of a volume and of a section 60 more
ROOM = {"Letter": (215.9 - 30, 279.4 - 34 - 60), "A4": (210 - 30, 297 - 34 - 60)}


def _size(picture: Picture) -> tuple[float, float]:
    svg = base64.b64decode(picture.address.split(",", 1)[1]).decode()
    found = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)
    assert found is not None
    return float(found[1]), float(found[2])


def _fits(picture: Picture) -> bool:
    """Return whether a picture across the whole page is no higher than either paper has room for."""
    wide, high = _size(picture)
    return all(high * across / wide <= room for across, room in ROOM.values())


def _frame(first: date, last: date) -> Frame:
    return Frame(Scope(make.site(zone="UTC"), None, first, last), first, last, last)


def test_ten_years_of_checks_are_told_in_calendars_that_fit_a_page_and_leave_no_month_out() -> None:
    frame = _frame(date(2016, 1, 1), date(2025, 12, 31))
    marks = dict.fromkeys(gaps.days_between(frame.from_day, frame.to_day), Mark.SIGNED)
    marks[date(2019, 5, 6)] = Mark.GAP
    found = calendars(frame, [("Chamber 1", marks)])
    assert all(_fits(one) for one in found)
    told = [re.search(r"within limits: (\d+), gap: (\d+)", one.caption) for one in found]
    assert sum(int(one[1]) for one in told if one) == 3652  # 10 years with 3 leap days (2016, 2020, 2024), less the gap
    assert [int(one[2]) for one in told if one].count(1) == 1
    assert found[0].caption.startswith("Days of Chamber 1, 1 Jan 2016 to ")
    assert found[-1].caption.split(":")[0].endswith(" to 31 Dec 2025")


def test_a_year_is_one_calendar_with_the_name_of_its_chamber_alone() -> None:
    frame = _frame(date(2025, 11, 30), date(2026, 11, 29))
    marks = dict.fromkeys(gaps.days_between(frame.from_day, frame.to_day), Mark.PAPER)
    (found,) = calendars(frame, [("Chamber 1", marks)])
    assert found.caption == "Days of Chamber 1: from paper, within limits: 365, gap: 0."


def test_the_legend_of_a_calendar_ends_within_it() -> None:
    """Letters of 10 px are 5 px wide on average or less (the metrics of the font are not asked: common practice, no source)."""
    svg = drawing.calendar([("Jan 2026", [])], legend())
    texts = re.findall(r'<text x="([\d.]+)" y="[\d.]+" text-anchor="start"[^>]*>([^<]+)', svg)
    ends = [float(x) + 5.0 * len(words) for x, words in texts]
    assert max(ends) <= drawing.WIDTH
    begins = [
        float(x) - 11 - 6.2 for x, words in texts if words != "Jan 2026"
    ]  # where the mark before the words begins
    assert all(mark > end for mark, end in zip(begins[1:], ends[1:], strict=False))


def test_people_with_many_qualifications_stand_in_pictures_that_fit_a_page() -> None:
    frame = _frame(date(2026, 1, 1), date(2026, 12, 31))
    kinds = [make.qualification_kind(frame.site.organisation) for _number in range(9)]
    for _number in range(14):
        person = make.person(frame.site)
        for kind in kinds:
            held = QualificationHeld(person=person, kind=kind, issued_on=date(2025, 1, 1), expires_on=date(2028, 1, 1))
            services.add(held, by=make.BY)
    section = people.section(frame)
    assert all(_fits(one) for one in section.pictures)
    names = [name for one in section.pictures for name in re.split(r", | of | over ", one.words)]
    assert all(names.count(one.name) == 1 for one in frame.site.people.all())


def test_short_sections_stand_where_there_is_room_for_them() -> None:
    """What keeps a heading with its text keeps no section with the next: three short ones follow a long one on its page."""
    tall = f'<div style="height:{ROOM["A4"][1] - 10}mm"></div>'
    short = render_to_string(
        "report/parts/section.html", {"section": Section("Files", tables=(Table("Each", ("a",), (), nothing="None."),))}
    )
    sections = f'<section class="part keep">{short}</section>' * 6
    page = f'<!DOCTYPE html><html lang="en"><head><title>x</title></head><body><h1>x</h1>{tall}{sections}</body></html>'
    style = REPORT_STYLE.read_text(encoding="utf-8") + "section.keep { break-inside: avoid; }"
    pages = pages_of(pressed(page, STYLE, style))
    assert len(pages) == 2
    assert pages[0].count("Files") >= 3  # 17 mm each, 70 mm of room


def test_a_picture_of_checks_is_of_the_checks_that_were_made() -> None:
    """The calendar of a frame is drawn from its checks: one signed check, the days around it gaps."""
    from facility.report.checks import checks_of

    frame = _frame(date(2026, 2, 1), date(2026, 2, 3))
    sheet = make.sheet(make.chamber(frame.site))
    for number in (0, 2):
        at = datetime(2026, 2, 1, 8, tzinfo=UTC) + timedelta(days=number)
        services.add(Check(sheet=sheet, version=sheet.versions.get(), number=number + 1, state="signed", result="passed",
                           started_at=at, started_by="Ina", signed_at=at, signed_by="Ina"), by=make.BY)  # fmt: skip
    (picture,) = calendars(frame, checks_of(frame).calendars)
    assert picture.caption.endswith(": signed, all within limits: 2, gap: 1.")
