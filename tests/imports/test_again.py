"""The same files again, changed cells, dry runs, and what people corrected meanwhile."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from facility import services
from facility.imports.take import Options
from facility.models import Check, DutyPeriod, Event, HouseRule, QualificationHeld, SheetVersion, Site
from maintenance.models import BankReading, Equipment, IntervalRule, WorkRecord
from tests.imports.support import BY, changed, facility, run
from treatments.models import NeedMember, Plan, Run

pytestmark = pytest.mark.django_db


def test_every_row_becomes_one_record_with_the_values_on_the_paper() -> None:
    report = run(facility())
    assert report.exit_code == 0, report.as_text()
    held = QualificationHeld.objects.get(number="P-1")
    assert (held.issued_on, held.expires_on) == (date(2025, 3, 4), date(2027, 3, 4))
    duty = DutyPeriod.objects.get(person__key="d-pell")
    assert duty.starts_at == datetime(2026, 3, 9, 8, tzinfo=ZoneInfo("America/Toronto"))
    reading = BankReading.objects.get(bank__key="oxygen")
    assert (reading.pressure, reading.unit) == (Decimal("2100.50"), "psi")
    assert "\n" in Site.objects.get().evacuation_plan
    plan = Plan.objects.get()
    assert plan.extensions == [{"minutes": 25, "allowed": 2}]
    assert plan.gas == {"O2": {"demand": 3600, "reserve": 4400}}
    assert sorted(plan.needs.values_list("key", flat=True)) == ["check", "depth", "oxygen"]


def test_a_month_without_a_day_counts_from_its_first_day() -> None:
    run(facility())
    rule = IntervalRule.objects.get(equipment__tag="G2")
    records: Any = WorkRecord.objects.filter(rule=rule)
    assert max(records.values_list("done_on", flat=True)) == date(2025, 11, 1)


def test_the_sites_limits_stand_in_the_sheet_and_checks_are_late_entries_from_paper() -> None:
    run(facility())
    steps = {step["key"]: step for step in SheetVersion.objects.get().steps}
    assert (steps["oxygen-1"]["low"], steps["oxygen-1"]["unit"], steps["oxygen-1"]["bank"]) == ("1000", "psi", "oxygen")
    check = Check.objects.get()
    assert (check.number, check.on_paper, check.result) == (1, True, "passed")
    assert Event.objects.get(subject_kind="facility.check").late


def test_twice_changes_nothing() -> None:
    run(facility())
    events = Event.objects.count()
    report = run(facility())
    assert report.changes == 0
    assert Event.objects.count() == events
    rows = sum(
        len(list(csv.DictReader(io.StringIO(content.decode()))))
        for file, content in facility().items()
        if file != "files.csv"
    )
    assert sum(count.unchanged for count in report.counts.values()) == rows


def test_a_dry_run_stores_nothing_and_says_the_same() -> None:
    tried = run(facility(), Options(dry_run=True))
    assert not Event.objects.exists()
    taken = run(facility())
    assert {name: count.added for name, count in tried.counts.items()} == {
        name: count.added for name, count in taken.counts.items()
    }


def test_a_changed_cell_of_a_lasting_thing_is_a_correction_in_place() -> None:
    run(facility())
    events = Event.objects.count()
    report = run(changed("equipment.csv", "Viewport 1", "Viewport one"))
    assert [one.sentence() for one in report.corrections] == [
        "equipment.csv, line 4, name: “Viewport 1” becomes “Viewport one”"
    ]
    assert Event.objects.count() == events + 1
    assert Event.objects.latest("seq").reason == "import of equipment.csv"
    assert Equipment.objects.get(tag="V1").row_version == 2


def test_a_changed_cell_of_a_statement_supersedes_it() -> None:
    run(facility())
    run(changed("bank_readings.csv", "2100.5", "2010.5"))
    readings: Any = BankReading.objects
    old, new = readings.filter(bank__key="oxygen").order_by("pk")
    assert not old.is_current
    assert (new.supersedes, new.pressure) == (old, Decimal("2010.50"))


def test_a_statement_changed_by_a_file_can_be_changed_back_by_a_file() -> None:
    run(facility())
    run(changed("bank_readings.csv", "2100.5", "2010.5"))
    run(facility())
    assert BankReading.objects.get(bank__key="oxygen", retired_at=None).pressure == Decimal("2100.50")
    assert run(facility()).changes == 0


def test_a_changed_plan_and_rule_are_new_versions() -> None:
    run(facility())
    run(
        changed("plan_gas.csv", "3600,4400", "3700,4400")
        | {"house_rules.csv": facility()["house_rules.csv"].replace(b",21,", b",14,")}
    )
    plan = Plan.objects.get(retired_at=None)
    assert (plan.version, plan.gas["O2"]["demand"]) == (2, 3700)
    assert plan.needs.count() == 3
    assert HouseRule.objects.get(retired_at=None).version == 2


def test_members_of_a_need_are_exchanged() -> None:
    run(facility())
    run(changed("needs.csv", "equipment:G1 equipment:G2", "equipment:G1 equipment:V1"))
    current = NeedMember.objects.filter(need__key="depth", retired_at=None)
    assert sorted(str(member) for member in current) == ["G1 Inner depth gauge 1", "V1 Viewport 1"]


def test_an_empty_cell_erases_nothing() -> None:
    run(facility())
    report = run(changed("equipment.csv", "Wend,1001,05/01/2020", ",,"))
    assert report.changes == 0
    assert Equipment.objects.get(tag="G1").serial == "1001"


def test_what_people_corrected_is_left_as_they_left_it() -> None:
    run(facility())
    old = BankReading.objects.get(bank__key="air")
    fields = {name: getattr(old, name) for name in ("bank", "read_at", "unit", "temperature_c", "read_by")}
    services.supersede(old, BankReading(pressure=Decimal(2800), **fields), by=BY, reason="misread")
    report = run(facility())
    assert report.count("bank_readings.csv").left == 1
    assert BankReading.objects.get(bank__key="air", retired_at=None).pressure == 2800


def test_what_people_withdrew_does_not_come_back() -> None:
    run(facility())
    services.retire(DutyPeriod.objects.get(person__key="d-pell"), by=BY, reason="swapped")
    services.retire(Equipment.objects.get(tag="K1"), by=BY, reason="scrapped")
    report = run(facility(), Options(take_good_rows=True))
    assert report.count("duty.csv").left == 1
    assert any(problem.what.endswith("was retired at this site") for problem in report.problems)
    assert not DutyPeriod.objects.filter(person__key="d-pell", retired_at=None).exists()


def test_two_acts_of_one_day_stay_two_and_keep_their_order() -> None:
    run(facility())
    records: Any = WorkRecord.objects
    day = records.filter(equipment__tag="G2", done_on=date(2025, 5, 12)).order_by("pk")
    assert [record.result for record in day] == ["failed", "passed"]
    report = run(changed("work.csv", "cleaned, same day", "cleaned and tried, same day"))
    assert report.count("work.csv").corrected == 1
    assert run(changed("work.csv", "cleaned, same day", "cleaned and tried, same day")).changes == 0


def test_only_part_of_a_facility_is_taken_and_what_is_missing_is_said() -> None:
    files = facility()
    report = run({name: files[name] for name in ("files.csv", "site.csv", "chambers.csv", "people.csv")})
    assert report.taken
    assert any("plans.csv" in sentence for sentence in report.missing)
    assert any("duty.csv" in sentence for sentence in report.missing)
    assert not any("chambers.csv" in sentence for sentence in report.missing)


def test_a_whole_facility_lacks_nothing() -> None:
    assert run(facility()).missing == []


def test_recorded_at_is_the_servers_time() -> None:
    before = datetime.now(UTC)
    run(facility())
    assert min(Event.objects.values_list("recorded_at", flat=True)) >= before


def test_a_run_keeps_the_plan_version_it_was_made_by() -> None:
    """By hand: left surface 10:00 in Toronto in winter, 15:00Z; 138 + 2 x 25 = 188 min later is 18:08Z."""
    run(facility())
    made = Run.objects.get()
    assert (made.number, made.planned_end_at) == (17, datetime(2026, 2, 27, 18, 8, tzinfo=UTC))
    report = run(changed("plan_gas.csv", "3600,4400", "3700,4400"))
    assert report.count("runs.csv").unchanged == 1
    assert Run.objects.get().plan.version == 1
