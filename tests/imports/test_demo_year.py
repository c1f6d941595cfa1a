"""The demo's year: comparisons, adopted clauses, a late entry, a correction, a waiver, drills, a visit."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from facility import events
from facility.demo.loading import load
from facility.models import Drill, Event, Procedure, ProcedureRead, VisitFinding
from facility.record_check import verify
from facility.report.runs import section
from facility.report.scope import Frame, Scope
from maintenance.models import Calibration, IntervalRule, WorkRecord
from maintenance.upkeep.adopting import deviations
from tests.imports.test_demo import LoadedDemo
from treatments.after.record import Record, record_of
from treatments.models import LogKind, Run, RunPlace, RunSignature, Waiver

YEAR = (date(2025, 2, 12), date(2026, 2, 11))


class DemoOfAYear(LoadedDemo):
    """What a report of the year before the demo's own today has to show; all counts by hand from year.toml."""

    day = date(2026, 2, 12)

    def test_gauges_were_compared_with_proven_references(self) -> None:
        rows = Calibration.objects.filter(done_on__range=YEAR)
        assert rows.filter(retired_at=None).count() == 15
        assert rows.filter(retired_at__isnull=False).count() == 1
        assert [str(row.done_on) for row in rows.filter(retired_at=None, computed__result="failed")] == ["2025-12-22"]
        assert all(row.computed["against"] == [] for row in rows)

    def test_one_comparison_was_corrected_and_one_came_late(self) -> None:
        gone = Calibration.objects.get(retired_at__isnull=False)
        assert (gone.equipment.tag, str(gone.done_on), gone.computed["result"]) == ("OL-D1", "2025-06-11", "failed")
        assert gone.superseded_by.computed["result"] == "passed"
        assert WorkRecord.objects.get(pk=gone.work_id).retired_at is not None
        late = Event.objects.filter(late=True, actor="Per Nygard").values_list("action", flat=True)
        assert set(late) == {"work recorded", "compared"}

    def test_rules_are_adopted_from_clauses_and_two_differ_with_a_reason(self) -> None:
        rows = IntervalRule.objects.exclude(requirement="").select_related("equipment")
        assert rows.count() == 77
        differ = [row for row in rows if deviations(row)]
        assert [row.equipment.tag for row in differ] == ["HOSE-1", "HOSE-2"]
        assert all(row.house_reason and row.approved_by for row in differ)

    def test_a_waiver_drills_procedures_and_a_visit_are_there(self) -> None:
        waiver = Waiver.objects.get()
        assert (waiver.need is not None and waiver.need.key, str(waiver.ends_at.date())) == ("power", "2025-11-19")
        assert list(Drill.objects.order_by("held_at").values_list("reached", flat=True)) == [False, True, True]
        open_ones = VisitFinding.objects.filter(closed_on=None)
        assert [(one.number, str(one.due_on)) for one in open_ones] == [(1, "2026-03-01")]
        assert VisitFinding.objects.count() == 2
        assert list(Procedure.objects.order_by("key").values_list("key", "approved_by")) == [
            ("fire-inside", "Astrid Solheim"), ("lost-oxygen", "Astrid Solheim"),
        ]  # fmt: skip
        assert ProcedureRead.objects.count() == 9

    def record(self, number: int) -> Record:
        """Return the record of a run as of now."""
        return record_of(Run.objects.select_related("chamber__site", "plan", "lock").get(number=number), events.now())

    def test_a_run_on_table_6_has_a_log_with_one_stop_too_long(self) -> None:
        """Minutes of Table 6 by the notes and figure of the U.S. Navy's table, from memory: 3 min down, 75 at 60 fsw,
        30 up, 150 at 30 fsw, 30 up: 288; the log stays two minutes longer at 60 fsw."""
        record = self.record(54)
        run = record.run
        assert (run.table_key, run.ended_at is not None and run.started_at is not None) == ("TT6", True)
        assert run.ended_at - run.started_at == timedelta(minutes=288 + 2)  # type: ignore[operator]
        assert [(one["depth_fsw"], one["minutes"], one["planned_min"]) for one in record.stops] == [
            (60, 77, 75), (30, 150, 150),
        ]  # fmt: skip
        assert [one.words for one in record.departures] == ["long stop", "long air break"]
        assert (record.counts["all"], record.counts["late"], record.counts["paper"]) == (29, 0, 0)
        assert [line.entry.values for line in record.lines if line.entry.kind == LogKind.OUTCOME] == [
            {"code": "relieved"}
        ]
        assert not run.outside_house_rules

    def test_a_report_tells_its_two_departures_as_the_record_does(self) -> None:
        run = Run.objects.select_related("chamber__site").get(number=54)
        days = (date(2026, 1, 1), date(2026, 1, 31))
        told = section(Frame(Scope(run.chamber.site, None, *days), *days, self.day))
        row = next(row for row in told.tables[0].rows if row[0].text == "run 54")
        assert row[4].text == "2"
        assert [one[3].text for one in told.tables[1].rows] == ["long stop", "long air break"]

    def test_its_records_are_closed_and_the_treatment_is_signed_by_its_supervisor(self) -> None:
        for number in (53, 54):
            record = self.record(number)
            assert (record.closed, record.changed, record.figures_differ) == (True, False, False)
        signature = RunSignature.objects.get()
        assert (signature.run.number, signature.signed_by) == (54, "Karin Lindqvist")
        assert signature.digest == self.record(54).digest
        assert not RunPlace.objects.exclude(patient=None).exists()

    def test_its_log_holds(self) -> None:
        assert verify().ok


@pytest.mark.django_db
def test_nothing_is_half_loaded_when_the_year_does_not_fit(
    monkeypatch: pytest.MonkeyPatch, settings: object, tmp_path: object
) -> None:
    def broken(*_args: object) -> None:
        raise ValueError("does not fit")

    monkeypatch.setattr("facility.demo.loading.play", broken)
    settings.DATA_DIR = tmp_path  # type: ignore[attr-defined]
    with pytest.raises(ValueError, match="does not fit"):
        load(date(2026, 2, 12))
    assert Event.objects.count() == 0
