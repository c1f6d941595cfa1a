"""The figures of a year as known on a day, against rows counted by hand: with a late entry, a correction and a void one."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from facility import events, services
from facility.models import Event, Site, SiteRole
from facility.report.sealing_check import faults_of
from facility.small_papers.making import Print, pdf_of
from facility.small_papers.small_numbers import kept_back
from facility.small_papers.year import Year
from facility.small_papers.year_paper import as_csv, parts_of, year_paper
from maintenance.models import Defect
from tests import make
from tests.small_papers.reading import signed_in, text_of
from tests.small_papers.year_kit import LATER, Clock, a_clock, a_site, figures, ran, values  # noqa: F401  # fixtures by their names
from tests.treatments.test_runs import plan_of
from treatments.models import RunPlace

pytestmark = pytest.mark.django_db


def test_what_was_entered_late_counts_from_the_day_it_was_entered(site: Site, clock: Clock) -> None:
    clock.is_now(2026, 3, 2)
    ran(site, 1, datetime(2026, 3, 1, 10, tzinfo=UTC), 60, "training")
    clock.is_now(2027, 1, 20, 9)
    ran(site, 2, datetime(2026, 12, 30, 10, tzinfo=UTC), 120, "training")
    asked = ("Runs", "Runs", "Time of the chamber under pressure")
    assert values(site, date(2026, 12, 31), *asked) == ["1", "1.0"]
    assert values(site, date(2027, 1, 19), *asked) == ["1", "1.0"]
    assert values(site, date(2027, 1, 20), *asked) == ["2", "3.0"]


def test_a_correction_counts_from_the_day_it_was_made_and_the_old_figures_can_be_asked_again(
    site: Site, clock: Clock
) -> None:
    clock.is_now(2026, 3, 2)
    run = ran(site, 1, datetime(2026, 3, 1, 10, tzinfo=UTC), 60, "test")
    before = as_csv(parts_of(Year(site, 2026, date(2026, 12, 31), LATER), outside=False))
    clock.is_now(2027, 2, 5, 9)
    run.ended_at = datetime(2026, 3, 1, 11, 30, tzinfo=UTC)
    services.change(run, by=make.BY, reason="read again", shown_version=run.row_version)
    asked = ("Runs", "Time of the chamber under pressure")
    assert values(site, date(2027, 2, 4), *asked) == ["1.0"]
    assert values(site, date(2027, 2, 5), *asked) == ["1.5"]
    assert as_csv(parts_of(Year(site, 2026, date(2026, 12, 31), LATER), outside=False)) == before


def test_a_statement_that_was_superseded_or_void_later_still_counts_as_known_before(site: Site, clock: Clock) -> None:
    item = make.equipment(site, tag="G-1")
    found_at, back = datetime(2026, 5, 1, 8, tzinfo=UTC), datetime(2026, 5, 3, 8, tzinfo=UTC)
    clock.is_now(2026, 5, 1, 9)
    fields = {"site": site, "equipment": item, "number": 1, "what": "sticks", "effect": "stops"}
    old = services.add(Defect(**fields, found_at=found_at), by=make.BY)
    clock.is_now(2026, 5, 3, 9)
    old.returned_at, old.returned_by = back, "Ina"
    services.change(old, by=make.BY, reason="tested", shown_version=old.row_version, action="returned to service")
    clock.is_now(2027, 2, 5, 9)
    new = Defect(**fields, found_at=found_at + timedelta(days=1), returned_at=back, returned_by="Ina")
    services.supersede(old, new, by=make.BY, reason="found a day later")
    clock.is_now(2027, 3, 1, 9)
    services.retire(new, by=make.BY, reason="another item")
    asked = ("Defects", "Opened", "Closed", "Mean time to return")
    assert values(site, date(2026, 5, 2), "Defects", "Opened", "Closed", "Open at the end") == ["1", "0", "1"]
    assert values(site, date(2026, 12, 31), *asked) == ["1", "1", "48.0"]  # by hand: 1 May 08:00 to 3 May 08:00
    assert values(site, date(2027, 2, 5), *asked) == ["1", "1", "24.0"]
    assert values(site, date(2027, 3, 1), "Defects", "Opened", "Closed") == ["0", "0"]


def test_the_day_ends_by_the_sites_clock(site: Site, clock: Clock) -> None:
    """Oslo is an hour ahead of UTC in winter (zoneinfo): 23:30 UTC of 20 January is half past midnight of the 21st."""
    clock.is_now(2027, 1, 20, 23, 30)
    ran(site, 1, datetime(2026, 12, 31, 22, 59, tzinfo=UTC), 30, "training")
    ran(site, 2, datetime(2026, 12, 31, 23, 0, tzinfo=UTC), 30, "training")  # left surface at midnight: the next year
    assert values(site, date(2027, 1, 20), "Runs", "Runs") == ["0"]
    assert values(site, date(2027, 1, 21), "Runs", "Runs") == ["1"]


def test_each_figure_names_the_newest_event_of_its_records_by_then(site: Site, clock: Clock) -> None:
    run = ran(site, 1, datetime(2026, 1, 1, 10, tzinfo=UTC), 60, "training")
    first = Event.objects.get(subject_kind="treatments.run", subject_id=run.pk).seq
    clock.is_now(2026, 6, 1)
    run.outside_house_rules = True
    services.change(run, by=make.BY, reason="as told", shown_version=run.row_version)
    second = Event.objects.filter(subject_kind="treatments.run").order_by("-seq")[0].seq
    for day, seq in ((date(2026, 5, 1), first), (date(2026, 6, 1), second)):
        one = figures(site, 2026, day)["Runs", "Runs"]
        assert (one.records, one.newest) == (1, seq)


def test_treatments_are_counted_by_table_and_outcomes_by_coarse_word(site: Site, clock: Clock) -> None:
    from treatments.models import LogEntry

    clock.is_now(2026, 4, 1)
    plan = plan_of(site.chambers.get(), key="t6", name="Table 6")
    runs = [ran(site, number, datetime(2026, 3, number, 10, tzinfo=UTC), 285, plan=plan) for number in (1, 2)]
    for run, code in zip(runs, ("residual", "relieved"), strict=True):
        place = services.add(RunPlace(run=run, role="patient", label="Patient 1", inside=True), by=make.BY)
        entry = LogEntry(run=run, kind="outcome", occupant=place, values={"code": code}, occurred_at=run.ended_at)
        services.add(entry, by=make.BY)
        if code == "residual":
            later = LogEntry(
                run=run, kind="outcome", occupant=place, values={"code": "relieved"}, occurred_at=run.ended_at
            )
            clock.is_now(2026, 4, 2)
            services.supersede(entry, later, by=make.BY, reason="the other line")
            clock.is_now(2026, 4, 1)
    early, late = (figures(site, 2026, date(2026, 4, day)) for day in (1, 2))
    assert early["Runs for treatment", "Table 6"].value == "2"
    assert early["Outcomes as logged", "some symptoms remain"].value == "1"
    assert late["Outcomes as logged", "complete relief"].value == "2"
    assert ("Outcomes as logged", "some symptoms remain") not in late


def test_small_numbers_of_people_treated_are_kept_back_with_all_that_would_give_them_away(site: Site) -> None:
    ran(site, 1, datetime(2026, 1, 1, 10, tzinfo=UTC), 60)
    ran(site, 2, datetime(2026, 1, 1, 14, tzinfo=UTC), 60, "training")
    found = figures(site, 2026, date(2026, 12, 31), outside=True)
    total = found["Runs for treatment", "In all"]
    assert (total.value, total.records, total.newest) == ("<5", None, None)
    assert found["Runs for treatment", "Table 1"].value == "kept back"
    assert ("Runs", "Runs") not in found
    assert found["Runs", "Runs but those for treatment"].value == "1"
    assert found["Runs", "Time of the chamber under pressure"].value == "1.0"
    assert figures(site, 2026, date(2026, 12, 31))["Runs for treatment", "In all"].value == "1"


@pytest.mark.parametrize(
    ("counts", "hidden"),
    [
        ([9, 3], [True, True]),  # 12 less 9 would tell the 3
        ([9, 7, 3], [False, True, True]),  # the least of the others goes with it
        ([9, 3, 2], [False, True, True]),  # together 5: neither can be told
        ([0, 6], [False, False]),
        ([4], [True]),
    ],
)
def test_no_kept_back_number_follows_from_the_sum(counts: list[int], hidden: list[bool]) -> None:
    """By hand: where one group alone is kept back, the total less the others gives it (common practice, no source)."""
    assert kept_back(counts) == hidden


def test_the_table_is_read_by_another_reader_and_names_each_query(site: Site) -> None:
    """RFC 4180: a head line, CRLF, double quotes; read by the standard library's reader."""
    ran(site, 1, datetime(2026, 1, 1, 10, tzinfo=UTC), 60, "training")
    text = as_csv(parts_of(Year(site, 2026, date(2026, 2, 1), LATER), outside=True))
    assert text.count("\r\n") == text.count("\n")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert rows[0]["figure"] == "Runs"
    assert Decimal(rows[0]["value"]) == 1
    assert all(row["query"] for row in rows)


def test_the_paper_keeps_its_standards_and_says_that_the_year_is_not_over(site: Site) -> None:
    printed = Print(site, events.now(), "Ina Test", Event.objects.count())
    pdf = pdf_of(year_paper(Year(site, 2026, date(2026, 1, 2), events.now()), printed), printed)
    assert faults_of(pdf) == []
    assert "The year was not over on that day" in text_of(pdf)
    assert "That day is not over yet" in text_of(pdf)


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"year": "2031"}, "lies ahead"), ({"known_on": "2026-01-03"}, "lies after today"),
        ({"year": "2026", "known_on": "2025-12-31"}, "nothing of 2026 could be known"), ({"known_on": "soon"}, "soon"),
    ],
)  # fmt: skip
def test_a_refused_question_comes_back_with_what_was_typed(site: Site, sent: dict[str, str], words: str) -> None:
    asked = {"year": "2026", "known_on": "2026-01-02", "form": "pdf", "size": "A4"} | sent
    answer = signed_in(make.user(site, SiteRole.TENDER)).get(f"/{site.key}/papers/year/", asked)
    assert answer.status_code == 422
    assert words in answer.content.decode()


def test_the_button_promises_no_pdf_where_a_table_can_be_chosen(site: Site) -> None:
    page = signed_in(make.user(site, SiteRole.TENDER)).get(f"/{site.key}/papers/year/").content.decode()
    assert "Make the figures" in page
    assert "Make the PDF" not in page


def test_exact_small_numbers_are_for_those_who_keep_packs(site: Site, clock: Clock) -> None:
    ran(site, 1, datetime(2026, 1, 1, 10, tzinfo=UTC), 60)
    clock.is_now(2026, 1, 2, 9)
    asked = {"year": "2026", "known_on": "2026-01-02", "form": "csv", "size": "A4", "exact": "on"}
    told = {}
    for role in (SiteRole.TENDER, SiteRole.DIRECTOR):
        answer = signed_in(make.user(site, role)).get(f"/{site.key}/papers/year/", asked)
        assert answer["Content-Type"].startswith("text/csv")
        told[role] = b"Runs for treatment,In all,1," in answer.content
    assert told == {SiteRole.TENDER: False, SiteRole.DIRECTOR: True}


def test_the_number_of_queries_does_not_grow(site: Site) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as taken:
            parts_of(Year(site, 2026, date(2026, 12, 31), LATER), outside=True)
        return len(taken)

    ran(site, 1, datetime(2026, 1, 1, 10, tzinfo=UTC), 60)
    before = queries()
    for number in range(2, 9):
        ran(site, number, datetime(2026, 1, number, 10, tzinfo=UTC), 60)
    assert queries() == before
