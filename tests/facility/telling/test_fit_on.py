"""Who was fit on a day: what the record knew at its end and what it knows now stand side by side."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from facility import events, services
from facility.models import MedicalFitness, Person, QualificationHeld, QualificationKind
from facility.readiness.telling.fit_on import Line, fit_on
from tests import make
from tests.facility.readiness_db import build
from tests.facility.telling.support import declared, took_part

pytestmark = pytest.mark.django_db
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
ON = date(2026, 11, 10)


class Clock:
    """The clock of the box, set by hand."""

    def __init__(self) -> None:
        self.at = datetime(2026, 11, 1, 8, tzinfo=UTC)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    found = Clock()
    monkeypatch.setattr(events, "now", lambda: found.at)
    return found


@pytest.fixture
def ana(clock: Clock) -> Person:
    return make.person(make.site(zone="Europe/Oslo"), key="ana", name="Ana")


@pytest.fixture
def kind(ana: Person) -> QualificationKind:
    return make.qualification_kind(ana.site.organisation, key="inside-tender", name="Tender")


def line(who: Person, what: str, on: date = ON) -> Line:
    (one,) = [one for one in fit_on(who.site, on) if one.person == who]
    (found,) = [found for found in one.lines if found.what == what]
    return found


def sides(found: Line) -> tuple[str, str]:
    return found.then.text, found.now.text


def test_what_nobody_changed_is_the_same_on_both_sides(ana: Person, kind: QualificationKind, clock: Clock) -> None:
    build.held(ana, kind, date(2026, 12, 1))
    clock.at += 60 * DAY
    found = line(ana, "Tender")
    assert sides(found) == ("good through 1 Dec 2026",) * 2
    assert not found.differs


def test_a_certificate_superseded_later_is_shown_as_it_was_known_that_day(
    ana: Person, kind: QualificationKind, clock: Clock
) -> None:
    old = build.held(ana, kind, date(2026, 12, 1))
    clock.at = datetime(2026, 11, 20, 8, tzinfo=UTC)
    new = QualificationHeld(
        person=ana, kind=kind, issued_on=date(2026, 1, 1), expires_on=date(2026, 11, 1), second_look_by="Bo"
    )
    services.supersede(old, new, by=make.BY, reason="the paper says November")
    found = line(ana, "Tender")
    assert sides(found) == ("good through 1 Dec 2026", "ended 1 Nov 2026")
    assert found.differs
    assert (found.then.mark, found.now.mark) == ("indate", "over")
    assert "recorded only on 20 Nov 2026 09:00" in found.now.sub


def test_what_was_recorded_after_the_day_was_not_known_that_day(ana: Person, clock: Clock) -> None:
    clock.at = datetime(2026, 11, 11, 8, tzinfo=UTC)
    build.medical(ana, examined_on=date(2026, 11, 5), good_until=date(2027, 11, 5))
    found = line(ana, "Medical")
    assert sides(found) == ("nothing on record", "fit for pressure, examined 5 Nov 2026, good through 5 Nov 2027")
    assert "recorded only on 11 Nov 2026 09:00" in found.now.sub


def test_what_was_recorded_in_the_last_minute_of_the_day_was_known(ana: Person, clock: Clock) -> None:
    clock.at = datetime(2026, 11, 10, 22, 59, tzinfo=UTC)  # 23:59 in Oslo
    build.medical(ana, examined_on=date(2026, 11, 5), good_until=date(2027, 11, 5))
    clock.at += DAY
    assert not line(ana, "Medical").differs
    assert line(ana, "Medical", date(2026, 11, 9)).then.text == "nothing on record"


def test_a_second_look_counts_from_the_day_it_was_had(ana: Person, kind: QualificationKind, clock: Clock) -> None:
    row = build.held(ana, kind, second_look_by="")
    clock.at = datetime(2026, 11, 15, 8, tzinfo=UTC)
    row.second_look_by = "Bo"
    services.change(row, by=make.BY, reason="read again", shown_version=row.row_version, action="second look")
    found = line(ana, "Tender")
    assert (found.then.mark, found.now.mark) == ("second", "indate")
    assert not line(ana, "Tender", date(2026, 11, 15)).differs


def test_only_the_newest_examination_of_each_side_counts(ana: Person, clock: Clock) -> None:
    build.medical(ana)
    clock.at = datetime(2026, 11, 20, 8, tzinfo=UTC)
    services.add(
        MedicalFitness(person=ana, examined_on=date(2026, 11, 3), good_until=date(2026, 12, 1), outcome="unfit"),
        by=make.BY,
    )
    found = line(ana, "Medical")
    assert (found.then.mark, found.now.mark) == ("indate", "over")


def test_duty_struck_out_later_was_duty_that_day(ana: Person, clock: Clock) -> None:
    begin = datetime(2026, 11, 10, 7, tzinfo=UTC)
    row = build.duty(ana, begin, begin + 8 * HOUR)
    clock.at = datetime(2026, 11, 12, 8, tzinfo=UTC)
    services.retire(row, by=make.BY, reason="was ill")
    assert sides(line(ana, "Duty")) == ("10 Nov 2026 08:00 to 10 Nov 2026 16:00", "no duty on record")


def test_waits_and_declarations_of_that_day_are_shown(ana: Person, clock: Clock) -> None:
    begin = datetime(2026, 11, 10, 7, tzinfo=UTC)
    clock.at = begin
    build.wait(ana, begin, begin + 12 * HOUR)
    declared(ana, begin, begin + 12 * HOUR, fit=False)
    clock.at += 9 * DAY
    assert line(ana, "Waits after pressure").now.text == "10 Nov 2026 08:00 to 10 Nov 2026 20:00"
    assert line(ana, "Declared").then.text == "not fit, 10 Nov 2026 08:00"
    assert line(ana, "Declared", date(2026, 11, 12)).now.text == "nothing declared"


def test_want_of_practice_is_said_for_that_day(ana: Person, clock: Clock) -> None:
    kind = make.qualification_kind(ana.site.organisation, key="tender", name="Tending", recency_days=30)
    build.held(ana, kind)
    plan = build.plan(make.chamber(ana.site), "p")
    took_part(ana, plan, "tender", datetime(2026, 10, 1, 12, tzinfo=UTC))
    clock.at += 60 * DAY
    # 1 October + 30 days = 31 October
    assert line(ana, "Tending").then.mark == "over"
    assert "ended with 31 Oct 2026: last practised 1 Oct 2026" in line(ana, "Tending").then.text
    took_part(ana, plan, "tender", datetime(2026, 11, 9, 12, tzinfo=UTC))
    assert line(ana, "Tending").now.mark == "indate"


def test_the_page_shows_both_sides_and_keeps_the_day(client: Client, ana: Person, clock: Clock) -> None:
    client.force_login(make.user(ana.site, "inspector"))
    clock.at = datetime(2026, 11, 20, 8, tzinfo=UTC)
    build.medical(ana)
    text = client.get(reverse("readiness:fit_on", args=[ana.site.key]), {"date": "10 Nov 2026"}).content.decode()
    assert "Who was fit on 10 Nov 2026" in text
    assert "the record changed since" in text
    assert "local codes prevail" in text.lower()


@pytest.mark.parametrize(
    ("typed", "words"), [("21 Nov 2026", "lies ahead of today, 20 Nov 2026"), ("31 Feb 2026", "31")]
)
def test_a_day_that_is_not_there_is_refused(client: Client, ana: Person, clock: Clock, typed: str, words: str) -> None:
    client.force_login(make.user(ana.site, "inspector"))
    clock.at = datetime(2026, 11, 20, 8, tzinfo=UTC)
    answer = client.get(reverse("readiness:fit_on", args=[ana.site.key]), {"date": typed})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert words in text
    assert typed in text


def test_many_people_take_no_more_queries(
    ana: Person, kind: QualificationKind, django_assert_num_queries: Callable[[int], Any]
) -> None:
    for number in range(10):
        who = make.person(ana.site, key=f"p{number}")
        build.held(who, kind)
        build.medical(who)
    with django_assert_num_queries(9):
        fit_on(ana.site, ON)
