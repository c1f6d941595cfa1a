"""What a report says of upkeep, rules and the log: nothing raw, nothing twice, and every number with what it is of."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest
from django.db import transaction
from django.template.loader import render_to_string
from django.utils import timezone

from facility import events, house, services
from facility.models import Event, Pack
from facility.reference import house_rule_definitions
from facility.report import build, changes, checks, front, plant, rules, runs, summary
from facility.report.scope import Frame, Scope
from facility.report.shape import Cell, Section, Table
from maintenance.models import Cylinder, Defect, Happening, IntervalRule
from maintenance.upkeep.adopting import adopt, by_key, deviations, source_words, terms_from
from tests import make
from treatments.after.kept import departures_of

if TYPE_CHECKING:
    from django.db.models import Model

    from facility.models import Site
    from maintenance.models import GasBank

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 31)


def _frame(site: Site) -> Frame:
    return Frame(Scope(site, None, date(2026, 3, 1), TODAY), date(2026, 3, 1), TODAY, TODAY)


def _rows(section: Section) -> list[tuple[Cell, ...]]:
    return [row for table in section.tables for row in table.rows]


def _number(row: Model) -> str:
    event = Event.objects.filter(subject_kind=row._meta.label_lower, subject_id=row.pk).earliest("seq")
    return f"event {event.seq}"


def _plant_rows(frame: Frame) -> list[tuple[Cell, ...]]:
    return [row for section in plant.standing(frame, plant.states_of(frame)) for row in _rows(section)]


def test_what_was_dropped_was_good_through_the_day_before_and_the_report_says_why_it_is_overdue() -> None:
    """An event makes it due at once (what the due list says of the same item), so that day is no good one any more."""
    item = make.equipment(tag="OL-B2", kind="mask")
    make.work(make.rule(item, name="function test", triggers="dropped"), date(2026, 2, 1))
    dropped = Happening(equipment=item, kind="dropped", happened_on=date(2026, 3, 27), reported_by="Ina")
    services.add(dropped, by=make.BY)
    frame = _frame(item.site)
    (row,) = _plant_rows(frame)
    assert [cell.text for cell in row[2:5]] == ["1 Feb 2026", "26 Mar 2026", "overdue"]
    assert row[4].sub == "since: dropped or knocked"
    overdue = _rows(summary._overdue(frame, plant.states_of(frame)))
    assert [(one[2].text, one[2].sub, one[3].text) for one in overdue] == [("overdue", row[4].sub, "26 Mar 2026")]


def test_the_plant_says_how_often_each_act_is_asked_for_and_where_that_comes_from() -> None:
    item = make.equipment()
    make.work(make.rule(item, months=1, source="maker's handbook"), date(2026, 3, 4))
    (row,) = _plant_rows(_frame(item.site))
    assert (row[1].text, row[1].sub) == ("calibration", "every 1 month · maker's handbook")


def test_a_life_without_an_act_names_the_rule_that_it_is_reckoned_from() -> None:
    window = make.equipment(kind="viewport", in_service_on=date(2020, 7, 22))
    life = make.rule(window, name="design life", months=0, life_months=120, life_begins_on=date(2020, 7, 22))
    (row,) = _plant_rows(_frame(window.site))
    assert [row[2].text, row[3].text, row[5].text, row[5].sub] == [
        "\u2013",
        "22 Jul 2030",
        "none",
        f"rule: {_number(life)}",
    ]


def _cylinder(bank: GasBank, mark: str, due: date | None) -> Cylinder:
    row = Cylinder(bank=bank, mark=mark, water_litres=Decimal("50.00"), tested_on=date(2016, 9, 16), test_due_on=due)
    services.add(row, by=make.BY)
    return row


def test_a_cylinder_past_its_pressure_test_is_overdue_with_the_items_and_stands_with_gas() -> None:
    """Good through the day on its stamp, as the due list tells the same cylinder; one without a day is no pass either."""
    site = make.site()
    bank = make.bank(site, name="Oxygen bank 2")
    late, good, unknown = (_cylinder(bank, mark, due) for mark, due in
                           (("BG-1", date(2026, 3, 30)), ("BG-2", TODAY), ("BG-3", None)))  # fmt: skip
    frame = _frame(site)
    overdue = summary._overdue(frame, [])
    assert (overdue.count, [row[0].text for row in _rows(overdue)]) == (2, ["BG-1", "BG-3"])
    assert [cell.text for cell in _rows(overdue)[0][1:]] == [
        "pressure test of the cylinder", "overdue", "30 Mar 2026", _number(late),
    ]  # fmt: skip
    section = next(one for one in plant.standing(frame, []) if one.title == "Gas and air")
    assert [(row[0].text, row[0].sub, row[1].text, row[4].text, row[5].text) for row in section.tables[1].rows] == [
        ("BG-1", "Oxygen bank 2", "50 L", "overdue", _number(late)),
        ("BG-2", "Oxygen bank 2", "50 L", "in date", _number(good)),
        ("BG-3", "Oxygen bank 2", "50 L", "no day on record", _number(unknown)),
    ]
    elsewhere = replace(frame, scope=replace(frame.scope, areas=("gauges",)))
    assert summary._overdue(elsewhere, []).count == 0


def test_the_clause_map_leads_to_the_record_of_the_newest_act_and_to_the_rule() -> None:
    gauge = make.equipment(tag="G-1")
    clause = by_key("I1")
    assert clause is not None
    (rule,) = adopt(clause, [gauge], terms_from(clause), by=make.BY)
    make.work(rule, date(2026, 2, 1))
    newest = make.work(rule, date(2026, 3, 4))
    frame = _frame(gauge.site)
    (row,) = _rows(rules.clause_map(frame, plant.states_of(frame)))
    assert (row[2].text, row[2].sub, row[4].text) == ("4 Mar 2026", _number(newest), _number(rule))


def test_a_number_from_memory_is_told_with_the_number() -> None:
    item = make.equipment(tag="AB1-G", name="Gauge of air bank 1")
    make.rule(item, months=12, window_days=30, standing="memory", source="common practice, no source")
    (row,) = rules.from_memory(_frame(item.site)).rows
    assert (row[0].text, row[0].sub, row[1].sub) == ("AB1-G", "Gauge of air bank 1", "every 12 months; window 30 days")


def test_what_the_title_of_a_code_says_already_is_not_said_again() -> None:
    """Titles of facility/reference/sources.toml with the places of maintenance/reference/requirements."""
    assert source_words("IMCA D 018, revision 1, sheet 24, oxygen pipework, sheet 24, revision 1") == (
        "IMCA D 018, revision 1, sheet 24, oxygen pipework"
    )
    code = "United States, 46 CFR part 197, subpart B, commercial diving operations, 197.458"
    assert source_words(code) == code


def test_a_deviation_has_its_unit_one_or_many_and_no_key() -> None:
    clause = by_key("I1")  # 6 months, counted from the day it was done
    assert clause is not None
    (rule,) = adopt(clause, [make.equipment()], terms_from(clause), by=make.BY)
    IntervalRule.objects.filter(pk=rule.pk).update(months=1, anchor="fixed")
    rule.refresh_from_db()
    labels: dict[Any, Any] = dict(IntervalRule._meta.get_field("anchor").flatchoices)
    every, runs_from = deviations(rule)
    assert every.words == "every: code 6 months, house 1 month"
    assert runs_from.words == f"next interval runs: code {labels['floating']}, house {labels['fixed']}"
    table = rules.deviating(_frame(rule.equipment.site))
    assert table.rows[0][1].text == f"{every.words}; {runs_from.words}"  # the difference goes before its clause


def test_house_rules_are_told_in_days_and_years() -> None:
    known = house_rule_definitions()
    days = next(one for one in known.values() if one.unit == "d")
    years = next(one for one in known.values() if one.unit == "a")
    told = [house.told(days, Decimal(45)), house.told(days, Decimal(1)), house.told(years, Decimal(10))]
    assert [words.replace("\u00a0", " ") for words in told] == ["45 days", "1 day", "10 years"]


def test_clauses_that_nobody_adopted_each_say_whether_their_number_was_read() -> None:
    rows = _rows(rules.not_adopted(_frame(make.site())))
    assert {row[3].text for row in rows} == {"read at its source", "from memory, unconfirmed"}


def test_a_caption_that_repeats_its_heading_is_heard_and_not_seen() -> None:
    row = (Cell("run 1"),)
    section = Section("Runs", tables=(Table("Runs", ("Run",), (row,)), Table("Each run", ("Run",), (row,))))
    told = render_to_string("report/parts/section.html", {"section": section})
    assert '<caption class="vh">Runs</caption>' in told
    assert "<caption>Each run</caption>" in told


def test_a_pack_says_when_it_was_made_in_the_form_of_all_days(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(events, "now", lambda: datetime(2026, 3, 31, 22, 5, tzinfo=UTC))
    site = make.site(zone="Europe/Oslo")  # summer time since 29 March 2026: UTC+2
    frame = _frame(site)
    scope = replace(frame.scope, pack=Pack(site=site, number=7, recipient="Ada", asked_by="Ina"))
    with timezone.override("Europe/Oslo"):
        made = build._plated(summary.volume(frame, [], checks.checks_of(frame)), scope)
    assert made.foot == "Pack 7 · made 1 Apr 2026 00:05 (UTC+02:00) by Ina"


@pytest.mark.parametrize(
    ("released", "said"),
    [
        (0, ""),
        (1, "1 text or picture was let go for it with a reason"),
        (2, "2 texts or pictures were let go for it, each"),
    ],
)
def test_page_one_says_what_was_let_go_for_this_pack(released: int, said: str) -> None:
    frame = _frame(make.site())
    one = {"model": "treatments.LogEntry", "pk": 5, "field": "remark", "reason": "asked for in writing"}
    pack = Pack(site=frame.site, number=7, recipient="Ada", ground="Code, 7", released=[one] * released)
    told = replace(frame, scope=replace(frame.scope, pack=pack))
    words = front.page(told, checks.checks_of(told), []).about
    assert said in words
    assert ("data/released.jsonl" in words) == bool(released)


def test_page_one_says_how_many_numbers_between_its_entries_are_of_something_else() -> None:
    site, other = make.site(zone="UTC"), make.site()
    for about in (site, other, other, site):
        with transaction.atomic():
            events.record(make.equipment(about), events.What("looked at", site_key=about.key), by=make.BY)
    day = events.now().date()
    frame = Frame(Scope(site, None, day, day), day, day, day)
    told = changes.tally(frame)
    others = told.last - told.first + 1 - told.entries
    between = Event.objects.filter(seq__gt=told.first, seq__lt=told.last).exclude(site_id_text=site.key).count()
    assert others == between > 1
    words = front.page(frame, checks.checks_of(frame), []).about
    assert f"{between} entries between them are about something else." in words


def test_every_open_defect_is_told_however_many_there_are() -> None:
    """One found before the days is in no month of theirs: so the list that opens the report is whole."""
    site = make.site(zone="UTC")
    for number in range(summary.MOST + 3):
        found_at = datetime(2025, 1, 1, tzinfo=UTC) + timedelta(hours=number)
        services.add(Defect(site=site, number=number + 1, equipment=make.equipment(site), what="leaks", effect="watch",
                            found_at=found_at), by=make.BY)  # fmt: skip
    section = summary._defects(_frame(site))
    assert (section.count, len(_rows(section)), section.notes) == (summary.MOST + 3, summary.MOST + 3, ())


def test_departures_say_what_the_table_asks_and_what_was_logged() -> None:
    found = {"kind": "long stop", "minute": 3.0, "depth_fsw": 60.0, "planned": 75.0, "logged": 77.0, "unit": "min"}
    kept = {"figures": {"conformity": {"found": [[[], found], [["patient 1"], found]]}}}
    assert len(departures_of(kept["figures"])) == 2
    table = runs._departure_table(SimpleNamespace(closed_at=make.NOON, computed=kept, number=54))  # type: ignore[arg-type]  # a run as far as its departures go
    assert table is not None
    assert [cell.text for cell in table.rows[0][3:]] == ["long stop", "75.0 min", "77.0 min", "the chamber"]
    assert table.rows[1][6].text == "patient 1"
