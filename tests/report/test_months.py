"""Months of a report: those of which anything is on record have a volume, and those of which nothing is are named."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

import pytest

from facility import services
from facility.models import Check, Event, Site
from facility.report import contents
from facility.report.build import closed_month, volumes
from facility.report.calendars import calendars
from facility.report.checks import checks_of
from facility.report.scope import Frame, Scope
from tests import make
from tests.treatments.after.pdf_text import pages_of
from treatments.models import Waiver

if TYPE_CHECKING:
    from pathlib import Path

    from facility.report.contents import Months

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 5)


@pytest.fixture(autouse=True)
def _folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path


def _months(site: Site, first: date, last: date, **more: Any) -> tuple[Frame, Months]:
    scope = Scope(site, None, first, last, **more)
    return Frame(scope, first, last, TODAY), contents.months(scope, TODAY)


def _worked(*days: date) -> Site:
    """Return a site where work was done on these days."""
    site = make.site(zone="UTC")
    rule = make.rule(make.equipment(site))
    for day in days:
        make.work(rule, day)
    return site


def test_ten_years_have_a_volume_for_each_month_with_a_record_and_name_the_others() -> None:
    """Ten years of which two months have a record: two volumes, page one says where the records begin, the list which months have none."""
    site = _worked(date(2017, 11, 4), date(2026, 2, 9))
    # what is written in the log on the day of the test is of no month before it
    scope = Scope(site, None, date(2016, 3, 1), date(2026, 2, 28))
    built = volumes(scope, tell=lambda _sentence: None)
    names = [one.name for one in built if "month" in one.name]
    assert names == ["report-4-month-2017-11.pdf", "report-4-month-2026-02.pdf"]
    pages = [" ".join(page.split()) for page in pages_of(built[0].path.read_bytes())]
    assert "Of what is told month by month nothing is on record before 1 Nov 2017." in pages[0]
    # of that alone: readings of banks, say, are in the tables of a pack and in no volume
    assert "Of what is told month by month nothing is on record of these" in pages[-1]
    assert "they have no volume: Mar 2016 to Oct 2017; Dec 2017 to Jan 2026." in pages[-1]


def test_where_records_begin_with_the_days_page_one_says_nothing_of_it() -> None:
    frame, months = _months(_worked(date(2026, 1, 9)), date(2026, 1, 5), date(2026, 2, 28))
    assert [one.month for one in months.told] == ["2026-01"]
    assert months.beginning(frame) == ""
    assert months.left_out().endswith(": Feb 2026.")
    frame, months = _months(_worked(date(2026, 1, 9)), date(2026, 1, 5), date(2026, 1, 31))
    assert (months.beginning(frame), months.left_out()) == ("", "")


def test_of_days_without_any_record_that_is_said() -> None:
    frame, months = _months(_worked(date(2026, 1, 9)), date(2025, 1, 5), date(2025, 2, 28))
    assert months.told == ()
    assert months.beginning(frame) == "Of what is told month by month nothing is on record of these days."
    assert months.left_out().endswith(": Jan 2025 to Feb 2025.")


def test_a_month_in_which_checks_were_owed_and_none_was_made_has_its_volume() -> None:
    """No record is a finding too: a chamber with a check on 1 January owes one on each day of February."""
    site = make.site(zone="UTC")
    sheet = make.sheet(make.chamber(site))
    at = datetime(2026, 1, 1, 8, tzinfo=UTC)
    services.add(Check(sheet=sheet, version=sheet.versions.get(), number=1, state="signed", result="passed", started_at=at,
                       started_by="Ina", signed_at=at, signed_by="Ina"), by=make.BY)  # fmt: skip
    frame, months = _months(site, date(2025, 12, 1), date(2026, 2, 28), areas=("checks",))
    assert [one.month for one in months.told] == ["2026-01", "2026-02"]
    assert "gaps: 1." in months.told[1].sections[0].lead  # one span of 28 days
    assert "before 1 Jan 2026" in months.beginning(frame)
    (picture,) = calendars(frame, checks_of(frame).calendars)
    assert "gap: 58." in picture.caption  # 30 days of January, 28 of February


def test_a_calendar_begins_with_the_month_of_the_first_check_that_was_owed(monkeypatch: pytest.MonkeyPatch) -> None:
    from facility.report import drawing

    drawn: list[list[str]] = []

    def draw(months: Any, _legend: Any) -> str:
        drawn.append([label for label, _days in months])
        return "<svg/>"

    monkeypatch.setattr(drawing, "calendar", draw)
    site = make.site(zone="UTC")
    sheet = make.sheet(make.chamber(site))
    make.chamber(site, key="unused")
    at = datetime(2026, 1, 20, 8, tzinfo=UTC)
    services.add(Check(sheet=sheet, version=sheet.versions.get(), number=1, state="signed", result="passed", started_at=at,
                       started_by="Ina", signed_at=at, signed_by="Ina"), by=make.BY)  # fmt: skip
    frame = Frame(Scope(site, None, date(2025, 11, 1), date(2026, 2, 28)), date(2025, 11, 1), date(2026, 2, 28), TODAY)
    calendars(frame, checks_of(frame).calendars)
    assert drawn == [["Jan 2026", "Feb 2026"]]


def test_no_volume_of_a_month_without_a_record_is_made_at_night() -> None:
    site = _worked(date(2026, 1, 9))
    scope = Scope(site, None, date(2026, 1, 1), date(2026, 2, 28))
    assert len(closed_month(scope, date(2026, 1, 1), date(2026, 1, 31))) == 1
    assert closed_month(scope, date(2026, 2, 1), date(2026, 2, 28)) == []


def test_a_month_tells_the_waivers_that_held_in_it() -> None:
    chamber = make.chamber(make.site(zone="UTC"))
    held = Waiver(
        chamber=chamber, starts_at=datetime(2026, 1, 30, tzinfo=UTC), ends_at=datetime(2026, 2, 2, tzinfo=UTC),
        why="the generator waits for a part", counter_measure="a second one on a trailer", granted_by="Ina",
    )  # fmt: skip
    services.add(held, by=make.BY)
    number = Event.objects.get(subject_kind="treatments.waiver", subject_id=held.pk).seq
    _frame, months = _months(chamber.site, date(2025, 12, 1), date(2026, 2, 28), areas=("runs",))
    assert [one.month for one in months.told] == ["2026-01", "2026-02"]
    for volume in months.told:
        (section,) = [one for one in volume.sections if one.title == "Waivers"]
        (row,) = section.tables[0].rows
        assert (row[3].text, row[3].sub, row[5].text) == (held.why, held.counter_measure, f"event {number}")
