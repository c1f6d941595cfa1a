"""The due list against the pages and the calendar that are reckoned from the same records."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from facility import events, services
from facility.models import Contact, ContactKind, Site, SiteRole
from facility.pack.due import entries
from facility.pack.scope import Scope
from facility.report.sealing_check import faults_of
from facility.small_papers.due import Asked, DueLine, lines_of, weeks
from facility.small_papers.due_paper import due_paper
from facility.small_papers.making import Print, pdf_of
from maintenance.models import Cylinder
from tests import make
from tests.facility.readiness_db import build
from tests.small_papers.reading import signed_in, sizes_of, text_of

pytestmark = pytest.mark.django_db
AT = datetime(2026, 11, 28, 11, 0, tzinfo=UTC)
TODAY = date(2026, 11, 28)
#: ISO 216 and ANSI/ASME Y14.1, in points of 1/72 inch, the long side across
A4_WIDE, LETTER_WIDE = (842, 595), (792, 612)


@pytest.fixture
def site() -> Site:
    """Return a site with acts that are overdue, due this month, far ahead and never recorded."""
    site = make.site(zone="Europe/Oslo")
    chamber = make.chamber(site)
    late, soon, far, never = (make.equipment(site, tag=tag) for tag in ("LATE-1", "SOON-1", "FAR-1", "NEVER-1"))
    make.work(make.rule(late), date(2026, 5, 1))  # six months: 1 Nov 2026
    make.work(make.rule(soon, who_may="competent person"), date(2026, 6, 10))  # 10 Dec 2026
    make.work(make.rule(far), date(2026, 11, 1))  # 1 May 2027
    make.rule(never)
    build.plan(chamber, "alone", build.need(chamber, "gauge", soon))
    build.plan(chamber, "paired", build.need(chamber, "gauges", soon, far))
    return site


def _lines(site: Site, days: int = 35, area: str = "whole") -> list[DueLine]:
    return lines_of(Asked(site, AT, days, area))


def _of(tag: str, lines: list[DueLine]) -> DueLine:
    (found,) = (one for one in lines if one.thing.startswith(tag))
    return found


def test_what_is_overdue_or_not_known_comes_first_then_by_day(site: Site) -> None:
    told = [(one.thing.split()[0], one.day, one.late) for one in _lines(site)]
    assert told == [
        ("NEVER-1", None, True), ("LATE-1", date(2026, 11, 1), True), ("SOON-1", date(2026, 12, 10), False),
    ]  # fmt: skip


def test_a_list_that_looks_further_ahead_holds_what_is_due_then(site: Site) -> None:
    assert "FAR-1" in {one.thing.split()[0] for one in _lines(site, 200)}
    assert _of("FAR-1", _lines(site, 200)).day == date(2027, 5, 1)


def test_an_act_names_what_it_would_stop_and_who_may_do_it(site: Site) -> None:
    found = _of("SOON-1", _lines(site))
    assert found.stops == "stops ALONE"
    assert found.who == "competent person"


def test_where_another_holds_the_same_need_nothing_stops(site: Site) -> None:
    assert _of("FAR-1", _lines(site, 200)).stops == "none now: another of its need holds"


def test_an_act_that_does_not_count_for_readiness_stops_nothing(site: Site) -> None:
    spare = make.equipment(site, tag="SPARE-1")
    make.work(make.rule(spare, counts=False), date(2026, 6, 12))
    assert _of("SPARE-1", _lines(site)).stops == "none: it does not count for readiness"


def test_every_day_of_the_packs_calendar_stands_on_the_list(site: Site) -> None:
    bank = make.bank(site)
    services.add(Cylinder(bank=bank, mark="C-77", water_litres=50, test_due_on=date(2026, 12, 3)), by=make.BY)
    calendar = {(one.day, one.uid) for one in entries(Scope(site, None, TODAY, TODAY), AT)}
    wanted = sorted(day for day, _uid in calendar if day <= TODAY + timedelta(days=35))
    assert sorted(one.day for one in _lines(site) if one.day is not None) == wanted
    assert _of("cylinder C-77", _lines(site, area="gas")).day == date(2026, 12, 3)


def test_people_and_telephone_numbers_stand_on_it_with_the_crew_they_leave(site: Site) -> None:
    kind = make.qualification_kind(site.organisation, key="tending", name="Tending")
    who = make.person(site, name="Ada Test")
    build.held(who, kind, date(2026, 12, 1))
    services.add(
        Contact(site=site, key="duty", kind=ContactKind.PHYSICIAN, name="Duty physician", phone="1"), by=make.BY
    )
    lines = _lines(site, area="people")
    assert (_of("Ada Test", lines).act, _of("Ada Test", lines).day) == ("renew: Tending", date(2026, 12, 1))
    assert _of("Duty physician", lines).state == "never confirmed"


def test_a_week_has_its_number_by_iso_8601() -> None:
    """ISO 8601: 1 January 2027 is a Friday of week 53 of 2026."""
    (week,) = weeks([DueLine("other", "Thing", "act", date(2027, 1, 1), late=False)])
    assert (week.number, week.monday, week.sunday) == (53, date(2026, 12, 28), date(2027, 1, 3))


def test_the_number_of_queries_does_not_grow(site: Site) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as taken:
            _lines(site)
        return len(taken)

    queries()
    before = queries()
    for number in range(12):
        make.work(make.rule(make.equipment(site, tag=f"MORE-{number}")), date(2026, 6, 11))
        build.medical(make.person(site), good_until=date(2026, 12, 9))
    assert queries() == before


def _printed(site: Site, size: str = "A4") -> Print:
    return Print(site, AT, "Ina Test", 77, size)


def test_the_paper_says_as_many_lines_as_it_has_and_keeps_its_standards(site: Site) -> None:
    printed = _printed(site)
    paper = due_paper(Asked(site, AT, 35), printed)
    pdf = pdf_of(paper, printed)
    said = text_of(pdf)
    assert faults_of(pdf) == []
    assert sizes_of(pdf) == {A4_WIDE}
    assert "3 lines: 2 overdue, past their day or not known, and 1 due from 28 Nov 2026 to 2 Jan 2027." in said
    assert sum(said.count(tag) for tag in ("NEVER-1", "LATE-1", "SOON-1")) == 3
    assert "newest event 77" in said
    assert "page 1 / 1" in said
    assert "This print carries no seal" in said


def test_letter_is_a_choice_and_hostile_names_stay_text(site: Site) -> None:
    make.work(make.rule(make.equipment(site, tag="EVIL-1", name='<img src="file:///etc/passwd">')), date(2026, 6, 12))
    printed = _printed(site, "Letter")
    pdf = pdf_of(due_paper(Asked(site, AT, 35), printed), printed)
    assert sizes_of(pdf) == {LETTER_WIDE}
    assert '<img src="file:///etc/passwd">' in text_of(pdf)
    assert faults_of(pdf) == []


def test_nothing_due_is_said_so_and_is_no_empty_page() -> None:
    site = make.site()
    printed = _printed(site)
    assert "Nothing is due in this time" in text_of(pdf_of(due_paper(Asked(site, AT, 35), printed), printed))


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"days": "0"}, "from 1 to 366"), ({"days": "367"}, "from 1 to 366"), ({"days": "many"}, "from 1 to 366"),
        ({"area": "moon"}, "moon"), ({"size": "A3"}, "A3"),
    ],
)  # fmt: skip
def test_a_refused_form_comes_back_with_what_was_typed(site: Site, asked: dict[str, str], words: str) -> None:
    sent = {"days": "35", "area": "whole", "size": "A4"} | asked
    answer = signed_in(make.user(site, SiteRole.TENDER)).get(f"/{site.key}/papers/due/", sent)
    assert answer.status_code == 422
    assert words in answer.content.decode()


def test_the_page_asks_first_and_then_sends_the_pdf(site: Site, monkeypatch: Any) -> None:
    client = signed_in(make.user(site, SiteRole.INSPECTOR))
    assert b"Days ahead" in client.get(f"/{site.key}/papers/due/").content
    monkeypatch.setattr(events, "now", lambda: AT)
    answer = client.get(f"/{site.key}/papers/due/", {"days": "35", "area": "whole", "size": "A4"})
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'attachment; filename="due-list-{site.key}-20261128.pdf"'
