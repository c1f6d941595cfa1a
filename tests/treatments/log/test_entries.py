"""Entries of a log: stored once, marked, asked about, corrected and struck; nothing is overwritten."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError

from facility import events, services
from facility.models import Event
from facility.record_check import verify
from facility.services import ChangedMeanwhileError
from tests import make
from tests.treatments.log.support import Made, opened, started
from treatments.compute.log_values import LogDoubtError, LogRefusedError
from treatments.log.changing import Correction, correct, strike
from treatments.log.reading import all_of, in_order, lines_of, log_of
from treatments.log.state import state_of
from treatments.models import ClinicalText, LogEntry, PressureWait
from treatments.opening.services import leave_surface

pytestmark = pytest.mark.django_db

MINUTE = timedelta(minutes=1)


def state(made: Made) -> dict[str, object]:
    run = made.fresh()
    return state_of(run, log_of(run), [made.patient, made.first, made.second], 5)


def right(**fields: object) -> Correction:
    return Correction(**{"client_id": uuid4(), "reason": "misread digit"} | fields)  # type: ignore[arg-type]


def test_left_surface_in_the_log_lets_the_run_leave_and_keeps_what_was_ready() -> None:
    made, at = started()
    run = made.run
    assert (run.started_at, run.shown, run.outside_house_rules) == (at, "Table 6: Ready", False)
    assert [one.kind for one in log_of(run)] == ["left_surface"]


def test_an_entry_sent_twice_is_stored_once() -> None:
    made, at = started()
    key = uuid4()
    first = made.add("reached_depth", at + 3 * MINUTE, depth="60", depth_unit="fsw", client_id=key)
    before = Event.objects.count()
    again = made.add("reached_depth", at + 3 * MINUTE, depth="60", depth_unit="fsw", client_id=key)
    assert (again.entry, again.event, again.repeat) == (first.entry, first.event, True)
    assert Event.objects.count() == before
    with pytest.raises(ValidationError, match="stored before as “reached depth”"):
        made.add("note", at, remark="other", client_id=key)


def test_an_entry_is_one_row_and_one_event() -> None:
    made, at = started()
    before = Event.objects.count()
    made.add("reached_depth", at + 3 * MINUTE, depth="60", depth_unit="fsw")
    assert Event.objects.count() == before + 1
    event = Event.objects.latest("seq")
    assert (event.action, event.subject_kind) == ("log entry", "treatments.logentry")
    assert not verify().faults


def test_an_entry_before_the_last_one_is_taken_in_its_place_and_marked() -> None:
    made, at = started()
    made.add("reached_depth", at + 3 * MINUTE, depth="60", depth_unit="fsw")
    made.add("note", at + 2 * MINUTE, remark="halt at 40 for ears")
    assert [one.kind for one in log_of(made.run)] == ["left_surface", "note", "reached_depth"]
    lines = {line.entry.kind: line for line in lines_of(made.run, all_of(made.run))}
    assert lines["note"].out_of_order
    assert not lines["reached_depth"].out_of_order


def test_what_only_happens_under_pressure_is_refused_before_and_after() -> None:
    made = opened()
    with pytest.raises(ValidationError, match="has not left surface"):
        made.add("reached_depth", depth="60", depth_unit="fsw")
    made.add("reading", values={"o2_percent": "20.9"})
    made, at = started()
    with pytest.raises(ValidationError, match="lies before the run left surface at"):
        made.add("oxygen_on", at - MINUTE, occupant=made.patient.pk)
    made.add("symptom", at - 20 * MINUTE, occupant=made.patient.pk, values={"code": "pain"})
    made.add("reached_surface", at + 30 * MINUTE)
    with pytest.raises(ValidationError, match="lies after the run reached surface at"):
        made.add("oxygen_on", at + 31 * MINUTE, occupant=made.patient.pk)
    assert made.add("note", at + 40 * MINUTE, remark="walks well").entry.pk


def test_oxygen_on_twice_is_asked_about_once_and_then_taken() -> None:
    made, at = started()
    made.add("oxygen_on", at + 3 * MINUTE, occupant=made.patient.pk)
    with pytest.raises(LogDoubtError, match="patient 1 is on oxygen already since"):
        made.add("oxygen_on", at + 5 * MINUTE, occupant=made.patient.pk)
    made.add("oxygen_on", at + 5 * MINUTE, occupant=made.patient.pk, sure=True)
    with pytest.raises(LogDoubtError, match="P. Nakoa was not logged on oxygen yet"):
        made.add("oxygen_off", at + 6 * MINUTE, occupant=made.first.pk)
    made.add("air_break", at + 23 * MINUTE, occupant=made.patient.pk)
    with pytest.raises(LogDoubtError, match="patient 1 is off oxygen already"):
        made.add("oxygen_off", at + 24 * MINUTE, occupant=made.patient.pk)


def test_somebody_of_another_run_is_unknown_here() -> None:
    made, at = started()
    other = opened(make.chamber(made.site))
    with pytest.raises(ValidationError, match="is not in run"):
        made.add("oxygen_on", at + MINUTE, occupant=other.patient.pk)


def test_a_depth_beyond_the_working_pressure_is_stored_and_said_loudly() -> None:
    """6 bar gauge is about 196 fsw: 1 msw = 0.1 bar by definition, 1 msw = 3.2646 fsw (handbook, section 7)."""
    made, at = started()
    assert made.add("reading", at + MINUTE, depth="190", depth_unit="fsw").alarm == ""
    stored = made.add("reading", at + 2 * MINUTE, depth="200", depth_unit="fsw")
    assert stored.alarm == "200 fsw is beyond the working pressure of Inner lock, 6 bar gauge."
    assert lines_of(made.run, all_of(made.run))[0].beyond == stored.alarm


def test_an_entry_later_than_the_house_rule_is_late() -> None:
    made, at = started(minutes_ago=90)
    assert made.add("note", at + 10 * MINUTE, remark="x").entry.late
    assert not made.add("note", at + 40 * MINUTE, remark="y").entry.late


def test_the_devices_own_time_counts_while_it_agrees_and_a_jump_is_marked() -> None:
    made, _at = started()
    now = events.now()
    near = made.add("note", remark="a", seconds_ago=30, device_at=now - timedelta(seconds=31)).entry
    assert near.occurred_at == now - timedelta(seconds=31)
    assert not near.clock_suspect
    far = made.add("note", remark="b", seconds_ago=30, device_at=now - timedelta(hours=5)).entry
    assert far.occurred_at is not None
    assert abs(far.occurred_at - (now - timedelta(seconds=30))) < timedelta(seconds=5)
    assert far.clock_suspect
    assert made.add("note", remark="c", clock_jumped=True).entry.clock_suspect


def test_a_typed_time_is_that_of_the_sites_clock() -> None:
    made, at = started()
    local = (at + 5 * MINUTE).astimezone(ZoneInfo(made.site.zone))
    stored = made.add("reached_depth", clock=f"{local:%H:%M:%S}", depth="60", depth_unit="fsw")
    assert stored.entry.occurred_at == at + 5 * MINUTE
    with pytest.raises(LogRefusedError, match="no time"):
        made.add("note", clock="soon", remark="x")
    with pytest.raises(ValidationError, match="after now"):
        made.add("note", events.now() + timedelta(hours=1), remark="x")


def test_a_text_about_health_lies_apart_and_in_no_event() -> None:
    made, at = started()
    stored = made.add("symptom", at + MINUTE, occupant=made.patient.pk, values={"code": "numbness"},
                      clinical="Tingling in left hand since yesterday")  # fmt: skip
    text = ClinicalText.objects.get()
    assert (text.entry, text.about) == (stored.entry, made.patient)
    assert "Tingling" not in "".join(Event.objects.values_list("payload", flat=True))
    assert "Tingling" not in str(stored.entry.values) + stored.entry.remark
    assert lines_of(made.run, all_of(made.run))[0].has_text


def test_a_correction_takes_the_place_of_a_line_and_shows_the_old_value() -> None:
    made, at = started()
    old = made.add("reading", at + MINUTE, values={"o2_percent": "22.1"}).entry
    new = correct(made.run.pk, old.pk, right(values={"o2_percent": "21.1"}), site=made.site, by=make.BY).entry
    assert new.occurred_at == old.occurred_at
    assert [one.values for one in log_of(made.run)][-1] == {"o2_percent": "21.1"}
    line = lines_of(made.run, all_of(made.run))[0]
    assert line.old_words == [("22.1 % O2", "misread digit")]
    with pytest.raises(ChangedMeanwhileError):
        correct(made.run.pk, old.pk, right(values={"o2_percent": "20"}), site=made.site, by=make.BY)
    with pytest.raises(ValidationError, match="Give a reason"):
        correct(made.run.pk, new.pk, right(reason=" ", values={"o2_percent": "20"}), site=made.site, by=make.BY)


def test_correcting_the_time_of_leaving_surface_moves_the_run() -> None:
    made, at = started()
    line = log_of(made.run)[0]
    local = (at - 2 * MINUTE).astimezone(ZoneInfo(made.site.zone))
    correct(made.run.pk, line.pk, right(clock=f"{local:%H:%M:%S}"), site=made.site, by=make.BY)
    run = made.fresh()
    assert run.started_at == at - 2 * MINUTE
    assert log_of(run)[0].occurred_at == run.started_at


def test_a_struck_line_stays_readable_and_no_longer_counts() -> None:
    made, at = started()
    slip = made.add("oxygen_on", at + MINUTE, occupant=made.patient.pk).entry
    strike(made.run.pk, slip.pk, "slip", site=made.site, by=make.BY)
    assert slip.pk not in [one.pk for one in log_of(made.run)]
    line = lines_of(made.run, all_of(made.run))[0]
    assert (line.struck, line.entry.retired_reason) == (True, "slip")
    made.add("oxygen_on", at + MINUTE, occupant=made.patient.pk)  # it is no second time
    with pytest.raises(ValidationError, match="the run hangs on it"):
        strike(made.run.pk, log_of(made.run)[0].pk, "slip", site=made.site, by=make.BY)


def test_reached_surface_ends_the_run_and_the_tenders_wait() -> None:
    made, at = started()
    made.add("reached_surface", at + 30 * MINUTE)
    run = made.fresh()
    assert run.ended_at == at + 30 * MINUTE
    assert {wait.person_id for wait in PressureWait.objects.all()} >= {made.first.person_id}
    with pytest.raises(ValidationError, match="stands in the log already"):
        made.add("reached_surface", at + 31 * MINUTE)


def test_a_tender_who_locks_out_waits_from_then_on() -> None:
    made, at = started()
    made.add("lock_in", at + 10 * MINUTE, occupant=made.second.pk)
    made.add("lock_out", at + 12 * MINUTE, occupant=made.first.pk)
    wait = PressureWait.objects.get(person=made.first.person)
    assert wait.ends_at == at + 12 * MINUTE + timedelta(hours=12)  # the plan's own 720 min
    people = {one["label"]: one["inside"] for one in state(made)["people"]}  # type: ignore[attr-defined]
    assert people == {"patient 1": True, "P. Nakoa": False, "S. Marlowe": True}


def test_striking_a_lock_out_after_the_run_moves_the_wait_to_its_end() -> None:
    made, at = started()
    slip = made.add("lock_out", at + 12 * MINUTE, occupant=made.first.pk).entry
    made.add("reached_surface", at + 30 * MINUTE)
    strike(made.run.pk, slip.pk, "slip", site=made.site, by=make.BY)
    wait = PressureWait.objects.get(person=made.first.person, retired_at=None)
    assert wait.ends_at == at + 30 * MINUTE + timedelta(hours=12)  # the plan's own 720 min


def test_after_the_record_was_closed_an_entry_needs_a_reason_and_is_late() -> None:
    made, at = started()
    made.add("reached_surface", at + 30 * MINUTE)
    run = made.fresh()
    run.closed_at = events.now()
    services.change(run, by=make.BY, reason="closed", shown_version=run.row_version)
    with pytest.raises(ValidationError, match="Say why this is added"):
        made.add("note", at + 31 * MINUTE, remark="x")
    stored = made.add("note", at + 31 * MINUTE, remark="x", reason="told later by the tender")
    assert stored.entry.late
    assert "told later by the tender" in Event.objects.latest("seq").payload


def test_an_extension_that_the_table_does_not_state_is_asked_about() -> None:
    """Table 6 may be extended twice at 60 and twice at 30 fsw (U.S. Navy, notes to table 6)."""
    made, at = started()
    one = {"extension_depth_fsw": "60", "extension_count": "1"}
    made.add("extension", at + 50 * MINUTE, values=one)
    made.add("extension", at + 51 * MINUTE, values=one)
    with pytest.raises(LogDoubtError, match="3 extensions at 60 fsw"):
        made.add("extension", at + 52 * MINUTE, values=one)
    with pytest.raises(LogDoubtError, match="states them at: 60, 30 fsw"):
        made.add("extension", at + 52 * MINUTE, values={"extension_depth_fsw": "45", "extension_count": "1"})


def test_the_next_event_follows_the_table_and_moves_with_the_arrival() -> None:
    """Table 6: 20 min of oxygen, 5 min of air at 60 fsw, from the arrival on (U.S. Navy, notes to table 6)."""
    made, at = started(minutes_ago=120)
    made.add("reached_depth", at + 5 * MINUTE, depth="60", depth_unit="fsw")
    ahead = state(made)["ahead"]
    wanted = (at + 25 * MINUTE).isoformat(timespec="milliseconds")
    assert [one["what"] for one in ahead if one["at"] == wanted] == ["patient off oxygen, air 5 min"]  # type: ignore[attr-defined]
    leave = [one for one in ahead if one["what"] == "leave 60 fsw"]  # type: ignore[attr-defined]
    made.add("extension", at + 50 * MINUTE, values={"extension_depth_fsw": "60", "extension_count": "1"})
    later = [one for one in state(made)["ahead"] if one["what"] == "leave 60 fsw"]  # type: ignore[attr-defined]
    assert (leave[0]["at"], later[0]["at"]) == tuple(
        (at + n * MINUTE).isoformat(timespec="milliseconds") for n in (80, 105)
    )


def test_a_run_that_left_surface_by_its_own_page_takes_the_same_time_into_its_log() -> None:
    made = opened()
    at = events.now() - 10 * MINUTE
    leave_surface(made.run, at, "Ready", True, "", make.BY)
    assert made.add("left_surface", at + MINUTE).entry.occurred_at == at


def test_order_of_the_log_is_that_of_events_in_the_chamber() -> None:
    made, at = started()
    for minute in (9, 4, 7):
        made.add("note", at + minute * MINUTE, remark=str(minute))
    assert [row.remark for row in in_order(LogEntry.objects.all())] == ["", "4", "7", "9"]
