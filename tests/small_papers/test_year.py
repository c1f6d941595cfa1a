"""The figures of a year as known on a day, against rows counted by hand: with a late entry, a correction and a void one."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from facility import events, services
from facility.models import Drill, DrillKind, Event, Site, SiteRole
from facility.practice.services import hold
from facility.report.sealing_check import faults_of
from facility.small_papers.making import Print, pdf_of
from facility.small_papers.small_numbers import kept_back
from facility.small_papers.year import Year
from facility.small_papers.year_paper import as_csv, parts_of, year_paper
from maintenance.models import BankReading, Cylinder, Defect, DeliveredCylinder, Delivery
from tests import make
from tests.maintenance.calibrating import support
from tests.small_papers.reading import signed_in, text_of
from tests.treatments.test_runs import plan_of
from treatments.calling import waivers
from treatments.models import Need, Run, RunPlace, Waiver

pytestmark = pytest.mark.django_db
#: each day that is asked about is over by then
LATER = datetime(2030, 1, 1, tzinfo=UTC)


class Clock:
    """The server's clock in a test: what is stored is recorded at the time it shows."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.at = datetime(2026, 1, 2, 8, 0, tzinfo=UTC)
        monkeypatch.setattr(events, "now", lambda: self.at)

    def is_now(self, *when: int) -> datetime:
        """Set the clock."""
        self.at = datetime(*when, tzinfo=UTC)  # type: ignore[misc,arg-type]
        return self.at


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Return a clock at 2 January 2026, eight o'clock UTC."""
    return Clock(monkeypatch)


@pytest.fixture
def site(clock: Clock) -> Site:
    """Return a site in Oslo with one chamber."""
    site = make.site(zone="Europe/Oslo")
    make.chamber(site)
    return site


def ran(site: Site, number: int, start: datetime, minutes: int, purpose: str = "treatment", plan: Any = None) -> Run:
    """Return a stored run that has ended."""
    chamber = site.chambers.get()
    made = plan or plan_of(chamber, key=f"plan-{number}", name=f"Table {number}")
    end = start + timedelta(minutes=minutes)
    return services.add(
        Run(chamber=chamber, number=number, purpose=purpose, plan=made, started_at=start, ended_at=end, planned_end_at=end, supervisor="Ina"),
        by=make.BY,
    )  # fmt: skip


def figures(site: Site, year: int, known_on: date, *, outside: bool = False) -> dict[tuple[str, str], Any]:
    """Return every figure by part and label."""
    parts = parts_of(Year(site, year, known_on, LATER), outside=outside)
    return {(one.part, one.label): one for part in parts for one in part.figures}


def values(site: Site, known_on: date, part: str, *labels: str) -> list[str]:
    """Return values of figures of 2026 as known on a day."""
    found = figures(site, 2026, known_on)
    return [found[part, label].value for label in labels]


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


def test_downtime_is_the_hours_within_the_year_each_minute_once(site: Site, clock: Clock) -> None:
    """By hand, in Oslo: back on 2 Jan 12:00, 36 h of the year; the second ends at 18:00 and adds 6 h."""
    item = make.equipment(site, tag="C-1", kind="compressor")
    clock.is_now(2026, 2, 1)
    first = datetime(2025, 12, 31, 11, tzinfo=UTC), datetime(2026, 1, 2, 11, tzinfo=UTC)
    second = datetime(2026, 1, 2, 5, tzinfo=UTC), datetime(2026, 1, 2, 17, tzinfo=UTC)
    for number, (start, end) in enumerate((first, second), 1):
        row = Defect(
            site=site, equipment=item, number=number, what="hot", effect="stops", found_at=start, returned_at=end,
            returned_by="Ina",
        )  # fmt: skip
        services.add(row, by=make.BY)
    told = values(site, date(2026, 2, 1), "Time out of service", "In all, each item by itself", "compressor")
    assert told == ["42.0", "42.0"]


def test_gas_is_counted_from_readings_around_runs_and_from_accepted_deliveries(site: Site, clock: Clock) -> None:
    """By hand: 200 bar to 180 bar on 2 x 50 L is 2000 L; two runs between the same readings share them."""
    bank = make.bank(site, gas="O2")
    for mark in ("A", "B"):
        services.add(Cylinder(bank=bank, mark=mark, water_litres=50), by=make.BY)
    clock.is_now(2026, 2, 1)
    for hour, bar in ((6, 200), (20, 180)):
        at = datetime(2026, 1, 10, hour, tzinfo=UTC)
        services.add(BankReading(bank=bank, read_at=at, pressure=bar, unit="bar", read_by="Ina"), by=make.BY)
    ran(site, 1, datetime(2026, 1, 10, 8, tzinfo=UTC), 60, "training")
    ran(site, 2, datetime(2026, 1, 10, 12, tzinfo=UTC), 60, "training")
    ran(site, 3, datetime(2026, 1, 20, 12, tzinfo=UTC), 60, "training")  # no reading after it
    delivery = Delivery(
        site=site, gas="O2", supplier="Gas", received_at=datetime(2026, 1, 5, tzinfo=UTC), received_by="I"
    )
    services.add(delivery, by=make.BY)
    for mark, state in (("D1", "accepted"), ("D2", "refused")):
        row = DeliveredCylinder(delivery=delivery, mark=mark, water_litres=50, pressure=200, state=state)
        services.add(row, by=make.BY)
    found = figures(site, 2026, date(2026, 2, 1))
    used = found["Gas", "Used in runs: O2"]
    assert (used.value, used.records) == ("2000", 2)
    assert used.query.endswith(": 1")
    assert found["Gas", "Delivered: O2"].value == "10000"


def test_comparisons_waivers_and_drills(site: Site, clock: Clock) -> None:
    clock.is_now(2026, 3, 10)
    item = make.equipment(site, tag="G-1")
    good = support.certificate(support.reference(site))
    support.comparison(item, good)
    bad = [{"reference": "4", "up": "9"}]
    support.comparison(item, good, as_found=bad, done_on=date(2026, 3, 2))
    chamber = site.chambers.get()
    need = services.add(
        Need(chamber=chamber, key="voice", name="Voice", k=1, effect="stops", waivable=True), by=make.BY
    )
    waiver = Waiver(chamber=chamber, need=need, starts_at=clock.at, ends_at=clock.at + timedelta(days=3), why="part",
                    counter_measure="radio", granted_by="Ina")  # fmt: skip
    waivers.grant(waiver, waivers.Grant(None, False, ""), by=make.BY)
    waivers.end(waiver, by=make.BY, reason="came earlier")
    kind = services.add(DrillKind(site=site, key="fire", name="Fire"), by=make.BY)
    people = [make.person(site), make.person(site)]
    for day in (1, 2):
        row = Drill(
            kind=kind, held_at=datetime(2026, 3, day, tzinfo=UTC), reached=day == 1, went_wrong="slow", led_by="I"
        )
        hold(row, people, by=make.BY)
    part = "Comparisons of gauges and analysers"
    asked = date(2026, 3, 10)
    assert values(site, asked, part, "Comparisons", "In tolerance as found", "Out of tolerance as found") == [
        "2",
        "1",
        "1",
    ]
    assert values(site, asked, "Waivers", "Waivers granted", "of: Voice") == ["1", "1"]
    assert values(site, asked, "Drills", "Held", "Goal reached", "People who took part") == ["2", "1", "2"]


def test_days_without_a_daily_check_are_counted_as_they_were_known(site: Site, clock: Clock) -> None:
    """By hand: in force from 10 March; a check begun on the 10th, none on the 11th and 12th; asked on the 13th."""
    from facility.models import Check

    clock.is_now(2026, 3, 10, 8)
    sheet = make.sheet(site.chambers.get())
    version = sheet.versions.get()

    def signed(day: int, number: int) -> None:
        at = datetime(2026, 3, day, 9, tzinfo=UTC)
        row = Check(
            sheet=sheet,
            version=version,
            number=number,
            state="signed",
            started_at=at,
            started_by="I",
            signed_at=at,
            signed_by="I",
            result="passed",
        )
        services.add(row, by=make.BY)

    signed(10, 1)
    clock.is_now(2026, 3, 14, 9)
    signed(11, 2)  # keyed in four days after
    asked = ("Checks", "Days without a daily check")
    assert values(site, date(2026, 3, 13), *asked) == ["2"]  # the 13th itself is not looked at
    assert values(site, date(2026, 3, 14), *asked) == ["2"]  # the 12th and 13th; the 11th is there now


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


def test_a_defect_that_is_open_is_down_until_now_and_not_until_midnight(site: Site, clock: Clock) -> None:
    """By hand: found at 02:00, asked at 08:00 the same day."""
    found_at = datetime(2026, 1, 2, 2, tzinfo=UTC)
    item = make.equipment(site, tag="C-1")
    services.add(Defect(site=site, equipment=item, number=1, what="x", effect="stops", found_at=found_at), by=make.BY)
    now = clock.is_now(2026, 1, 2, 8)
    parts = parts_of(Year(site, 2026, date(2026, 1, 2), now + timedelta(seconds=1)), outside=True)
    (down,) = (one.value for part in parts for one in part.figures if one.label == "In all, each item by itself")
    assert down == "6.0"


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
