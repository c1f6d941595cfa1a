"""The record of one person: their own papers, never a patient's name; another's print is an event with a reason."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from facility import services
from facility.models import (
    Drill,
    DrillKind,
    DutyPeriod,
    Event,
    MedicalFitness,
    Person,
    Procedure,
    QualificationHeld,
    SiteRole,
)
from facility.practice import services as practice
from facility.report.sealing_check import faults_of
from facility.small_papers.making import Paper, Print, pdf_of
from facility.small_papers.personal import personal_paper
from tests import make
from tests.small_papers.reading import signed_in, text_of
from tests.treatments.after.support import CLINICAL, SECRET, closed, whole_six
from tests.treatments.after.test_ledger import exposure
from tests.treatments.recording.support import run_on

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 12, 12, 0, tzinfo=UTC)


def paper_of(person: Person) -> Paper:
    """Return the paper of a person as of the tests' noon."""
    return personal_paper(person, printed(person))


def printed(person: Person) -> Print:
    """Return a print of the tests' noon."""
    return Print(person.site, AT, "Ina Test", Event.objects.count())


def texts(person: Person, title: str, place: int = 0) -> list[tuple[str, ...]]:
    """Return the rows of a table of one section as texts."""
    (section,) = (one for one in paper_of(person).sections if one.title == title)
    return [tuple(cell.text for cell in row) for row in section.tables[place].rows]


def address(person: Person) -> str:
    """Return the address of the paper."""
    return f"/{person.site.key}/papers/person/{person.key}/"


def test_a_qualification_counts_only_after_its_second_look() -> None:
    person = make.person()
    kind = make.qualification_kind(person.site.organisation, name="Tending")
    for issued, expires, look in ((2023, 2025, "Ada"), (2025, 2027, "Ada"), (2026, 2028, "")):
        row = QualificationHeld(
            person=person, kind=kind, issued_on=date(issued, 1, 5), expires_on=date(expires, 1, 5), second_look_by=look
        )
        services.add(row, by=make.BY)
    told = [row[3:5] for row in texts(person, "Qualifications")]
    assert told == [("Ada", "expired"), ("Ada", "in date"), ("waits for it", "does not count yet")]


def test_of_a_medical_stand_the_outcome_and_until_when_and_nothing_else() -> None:
    person = make.person()
    row = MedicalFitness(
        person=person,
        examined_on=date(2025, 7, 7),
        good_until=date(2026, 7, 6),
        outcome="limited",
        physician="Dr Nobody",
    )
    services.add(row, by=make.BY)
    event = Event.objects.get(subject_kind="facility.medicalfitness").seq
    assert texts(person, "Medical fitness") == [("fit with limits", "6 Jul 2026", "in date", f"event {event}")]
    said = text_of(pdf_of(paper_of(person), printed(person)))
    assert "Dr Nobody" not in said
    assert "7 Jul 2025" not in said


def test_hours_of_duty_are_told_by_month_of_the_site_and_each_hour_once() -> None:
    """By hand, in Oslo (UTC+1): 31 Jan 20:00 to 1 Feb 08:00 is 4 h and 8 h; the second entry overlaps by 2 h and adds 1 h."""
    person = make.person()
    spans = (
        (datetime(2026, 1, 31, 19, tzinfo=UTC), datetime(2026, 2, 1, 7, tzinfo=UTC), False),
        (datetime(2026, 2, 1, 5, tzinfo=UTC), datetime(2026, 2, 1, 8, tzinfo=UTC), False),
        (datetime(2026, 2, 10, 8, tzinfo=UTC), datetime(2026, 2, 11, 8, tzinfo=UTC), True),
        (datetime(2024, 2, 10, 8, tzinfo=UTC), datetime(2024, 2, 11, 8, tzinfo=UTC), False),
    )
    for starts_at, ends_at, on_call in spans:
        services.add(DutyPeriod(person=person, starts_at=starts_at, ends_at=ends_at, on_call=on_call), by=make.BY)
    assert texts(person, "Duty") == [("Jan 2026", "4.0 h", "0.0 h", "1"), ("Feb 2026", "9.0 h", "24.0 h", "3")]


def test_time_under_pressure_is_the_ledgers() -> None:
    """By hand: twice 288 min, 60 min on oxygen and 142.56 UPTD each (NOAA's and the handbook's unit, as stored)."""
    run = run_on()
    person = make.person(run.chamber.site)
    exposure(person, run, 2)
    exposure(person, run, 40)
    sums = texts(person, "Tending and other time under pressure")
    assert [row[1:5] for row in sums] == [
        ("1", "288 min", "60 min", "143"), ("2", "576 min", "120 min", "285"), ("2", "576 min", "120 min", "285"),
    ]  # fmt: skip
    assert len(texts(person, "Tending and other time under pressure", 1)) == 2


def test_runs_are_named_by_number_and_nobody_treated_stands_on_the_paper() -> None:
    whole = closed(whole_six())
    person = whole.tender_person
    (row,) = texts(person, "Roles in runs")
    assert row[0] == f"run {whole.run.number}"
    assert row[2:4] == ("inside tender", "under pressure")
    said = text_of(pdf_of(paper_of(person), printed(person)))
    assert SECRET not in said
    assert CLINICAL not in said
    assert "patient" not in said.lower()


def test_drills_and_procedures_with_what_is_not_read_yet() -> None:
    person = make.person()
    site = person.site
    kind = services.add(DrillKind(site=site, key="fire", name="Fire"), by=make.BY)
    row = Drill(kind=kind, held_at=datetime(2026, 3, 1, 9, tzinfo=UTC), led_by="Ada")
    practice.hold(row, [person], by=make.BY)
    for key in ("fire", "flood"):
        procedure = Procedure(site=site, key=key, title=f"On {key}", text="Shout", in_force_from=AT)
        practice.put_in_force(procedure, by=make.BY, reason="first")
        if key == "fire":
            practice.mark_read(procedure, person, by=make.BY)
    assert [line[1:4] for line in texts(person, "Drills taken part in")] == [("Fire", "\u2013", "reached")]
    assert [line[0:2] for line in texts(person, "Procedures read")] == [("On fire", "1")]
    (section,) = (one for one in paper_of(person).sections if one.title == "Procedures read")
    assert section.notes == ("Not read yet in the version in force: On flood.",)


def test_one_prints_ones_own_without_a_reason_and_without_an_event() -> None:
    person = make.person()
    user = make.user(person.site, SiteRole.TENDER)
    person.user = user
    services.change(person, by=make.BY, reason="joined", shown_version=1)
    client = signed_in(user)
    page: Any = client.get(address(person))
    assert b"Why you print" not in page.content
    answer = client.post(address(person), {"size": "A4"})
    assert answer["Content-Type"] == "application/pdf"
    assert person.name not in answer["Content-Disposition"]
    assert not Event.objects.filter(action="personal record printed").exists()


def test_anothers_record_asks_for_a_reason_and_is_an_event() -> None:
    person = make.person()
    supervisor = make.supervisor(person.site)
    client = signed_in(supervisor)
    refused = client.post(address(person), {"size": "A4", "reason": "  "})
    assert refused.status_code == 422
    assert not Event.objects.filter(action="personal record printed").exists()
    answer = client.post(address(person), {"size": "Letter", "reason": "asked for by the authority"})
    assert answer["Content-Type"] == "application/pdf"
    event = Event.objects.get(action="personal record printed")
    assert (event.subject_id, event.reason, event.actor) == (person.pk, "asked for by the authority", str(supervisor))


@pytest.mark.parametrize(
    "role", [SiteRole.TENDER, SiteRole.OPERATOR, SiteRole.PHYSICIAN, SiteRole.MAINTAINER, SiteRole.INSPECTOR]
)
def test_nobody_else_may_print_it(role: SiteRole) -> None:
    person = make.person()
    client = signed_in(make.user(person.site, role))
    assert client.get(address(person)).status_code == 403
    assert client.post(address(person), {"size": "A4", "reason": "curious"}).status_code == 403


def test_an_empty_record_says_so_in_each_part_and_keeps_its_standards() -> None:
    person = make.person(name="<b>Ada</b>")
    pdf = pdf_of(paper_of(person), printed(person))
    assert faults_of(pdf) == []
    said = text_of(pdf)
    assert said.count("None is on record.") == 6
    assert "Nothing is on the roster." in said
    assert "<b>Ada</b>" in said


def test_the_number_of_queries_does_not_grow() -> None:
    run = run_on()
    person = make.person(run.chamber.site)

    def queries() -> int:
        with CaptureQueriesContext(connection) as taken:
            personal_paper(Person.objects.select_related("site").get(pk=person.pk), printed(person))
        return len(taken)

    exposure(person, run, 2)
    before = queries()
    for days in range(3, 9):
        exposure(person, run, days)
    assert queries() == before
