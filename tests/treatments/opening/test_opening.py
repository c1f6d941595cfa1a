"""A run is opened before it leaves surface, with its table as on that day; nothing physical is ever blocked."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from facility import events, services
from facility.models import Event
from tests import make
from tests.maintenance.upkeep.support import counter, reading
from tests.treatments.opening.support import opened, put
from tests.treatments.table_book.support import PARTS, actor, director
from tests.treatments.test_runs import plan_of, signed_in
from treatments.compute.profile import Choices, profile
from treatments.models import LogEntry, LogKind, PressureWait, Run, RunPlace, RunRole
from treatments.opening.services import (
    Opening,
    correct_times,
    give_reason,
    give_up_run,
    leave_surface,
    open_run,
    owes_reason,
    reach_surface,
)
from treatments.opening.waits import locked_out
from treatments.table_book.services import approve, propose, withdraw
from treatments.table_book.tables import as_in_force, table_of_run

pytestmark = pytest.mark.django_db
T = make.NOON


def left(run: Run, at: Any = T, *, ready: bool = True, reason: str = "") -> Run:
    return leave_surface(run, at, "Table 6: Ready", ready, reason, make.BY)


def test_an_opened_run_keeps_the_table_of_that_day_whatever_comes_later() -> None:
    site = make.site()
    row = propose(site, "house-oxygen", PARTS, "house book", by=actor(director(site)))
    row = approve(row, shown_digest=as_in_force(row).digest, by=actor(director(site, "Olav", "Dahl")))
    run = opened(make.chamber(site), table="house-oxygen")
    assert (run.table_version, run.table_standing, run.started_at) == (1, "site", None)
    withdraw(row, reason="not used", by=make.BY)
    stored = Run.objects.get()
    table = table_of_run(stored)
    assert table is not None
    assert sum(one.minutes for one in table.segments) == 76  # hand sum: 30 + 5 + 30 + 11
    give_up_run(stored, reason="postponed", by=make.BY)
    later = open_run(Opening(stored.plan, "treatment", "I. Tamaro"), by=make.BY)
    assert (later.table_key, later.table) == ("house-oxygen", {}), "a plan whose table is gone still opens"
    assert table_of_run(later) is None


@pytest.mark.parametrize(
    ("key", "extensions", "minutes"),
    [
        ("TT6", {60: 2, 30: 2}, 485), ("TT6A", {}, 350), ("TT6A-older", {}, 319), ("TT9", {}, 102.25),
        ("TT1A", {}, 472), ("TT2A", {}, 813), ("TT3", {}, 1293), ("TT4", {}, 2346), ("TT5", {30: 2}, 185),
    ],
)  # fmt: skip
def test_the_table_read_back_from_a_run_has_the_length_of_the_handbook(
    key: str, extensions: dict[float, int], minutes: float
) -> None:
    """Handbook, section 9, cases E11, E12 and E34; the lists of the U.S. Navy tables, recalled."""
    opened(table=key)
    table = table_of_run(Run.objects.get())
    assert table is not None
    assert profile(table, Choices(extensions)).table_minutes == minutes


def test_table_4_and_7_read_back_from_a_run_keep_their_first_stop() -> None:
    """Handbook, section 9, E12 and E33: 2 436 min with 120 min at 165; 36 h and 4 min of table 7 after 12 h at 60."""
    for key, least, minutes in (("TT4", 120.0, 2436.0), ("TT7", 720.0, 720 + 36 * 60 + 4)):
        table = table_of_run(opened(table=key))
        assert table is not None
        assert profile(table, Choices({}, first_stop_min=least)).table_minutes == minutes, key


def test_a_run_is_opened_once_and_the_message_says_what_to_do() -> None:
    run = opened()
    with pytest.raises(ValidationError, match="Go on with it, or give it up first"):
        open_run(Opening(run.plan, "test", "Ina"), by=make.BY)
    left(run)
    with pytest.raises(ValidationError, match="left surface already"):
        left(run)
    with pytest.raises(ValidationError, match="still on"):
        open_run(Opening(run.plan, "test", "Ina"), by=make.BY)
    with pytest.raises(ValidationError, match="stays in the log"):
        give_up_run(run, reason="x", by=make.BY)


@pytest.mark.parametrize(
    ("change", "match"),
    [({"table": "TT99"}, "no treatment table here"), ({"supervisor": " "}, "Name the supervisor")],
)
def test_what_cannot_be_opened_is_refused_by_name(change: dict[str, Any], match: str) -> None:
    fields: dict[str, Any] = {"plan": plan_of(make.chamber()), "purpose": "test", "supervisor": "Ina"}
    with pytest.raises(ValidationError, match=match):
        open_run(Opening(**fields | change), by=make.BY)
    with pytest.raises(ValidationError, match="no lock of"):
        open_run(Opening(**fields, lock=make.lock()), by=make.BY)
    assert Run.objects.count() == 0


def test_a_run_given_up_no_longer_counts_and_its_number_is_not_given_again() -> None:
    run = opened()
    give_up_run(run, reason="diver recovered on the way", by=make.BY)
    with pytest.raises(ValidationError, match="given up"):
        left(run)
    again = open_run(Opening(run.plan, "test", "Ina"), by=make.BY)
    assert again.number == run.number + 1


def test_leaving_surface_outside_the_house_rules_is_never_refused_and_the_reason_may_follow() -> None:
    run = left(opened(), ready=False)
    assert run.outside_house_rules
    assert owes_reason(run)
    with pytest.raises(ValidationError, match="reason"):
        give_reason(run, " ", by=make.BY)
    give_reason(run, "diver cannot wait", by=make.BY)
    stored = Run.objects.get()
    assert stored.shown.endswith("diver cannot wait")
    assert not owes_reason(stored)
    with pytest.raises(ValidationError, match="owes no reason"):
        give_reason(stored, "x", by=make.BY)
    assert Event.objects.filter(action="run started outside the house rules").count() == 1


def test_crew_inside_wait_after_the_run_and_outside_crew_do_not() -> None:
    run = opened()
    site = run.chamber.site
    tender, panel = make.person(site), make.person(site)
    put(run, RunRole.TENDER, tender)
    put(run, RunRole.PANEL, panel)
    put(run, RunRole.PATIENT)
    left(run)
    reach_surface(run, T + timedelta(hours=5), make.BY)
    wait = PressureWait.objects.get()
    assert (wait.person, wait.starts_at, wait.ends_at) == (tender, T, T + timedelta(hours=5, minutes=720))


def test_a_tender_who_locked_out_waits_from_then_and_one_who_went_in_again_from_the_end() -> None:
    run = opened()
    first, second = make.person(run.chamber.site), make.person(run.chamber.site)
    place, other = put(run, RunRole.TENDER, first), put(run, RunRole.TENDER, second)
    left(run)
    out = T + timedelta(hours=2)
    for who, kind, at in ((place, LogKind.LOCK_OUT, out), (other, LogKind.LOCK_OUT, out),
                          (other, LogKind.LOCK_IN, out + timedelta(hours=1))):  # fmt: skip
        _entry(run, who, kind, at)
        if kind == LogKind.LOCK_OUT:
            locked_out(who, at, make.BY)
    locked_out(place, out, make.BY)
    assert PressureWait.objects.filter(retired_at=None).count() == 2, "the same lock-out twice is one wait"
    end = T + timedelta(hours=5)
    reach_surface(run, end, make.BY)
    ends = {row.person: row.ends_at for row in PressureWait.objects.filter(retired_at=None)}
    assert ends == {first: out + timedelta(minutes=720), second: end + timedelta(minutes=720)}


def _entry(run: Run, place: RunPlace, kind: str, at: Any) -> LogEntry:

    return services.add(LogEntry(run=run, occupant=place, kind=kind, occurred_at=at), by=make.BY)


def test_a_corrected_time_moves_the_planned_end_and_the_waits() -> None:
    run = opened()
    put(run, RunRole.TENDER, make.person(run.chamber.site))
    left(run)
    with pytest.raises(ValidationError, match="no such time yet"):
        correct_times(run, ended_at=T, reason="x", by=make.BY)
    reach_surface(run, T + timedelta(hours=5), make.BY)
    correct_times(
        run, started_at=T + timedelta(minutes=4), ended_at=T + timedelta(hours=6), reason="misread", by=make.BY
    )
    assert run.planned_end_at == T + timedelta(minutes=4 + 188)  # hand sum: 138 + 2 x 25
    assert PressureWait.objects.get(retired_at=None).ends_at == T + timedelta(hours=18)
    with pytest.raises(ValidationError, match="before it left surface"):
        correct_times(run, ended_at=T, reason="x", by=make.BY)


def test_an_opened_run_takes_no_chamber_and_shows_as_opened_everywhere() -> None:
    run = opened()
    site = run.chamber.site
    client = signed_in(make.user(site, "supervisor"))
    answer = client.get(reverse("readiness:api", args=[site.key])).content.decode()
    assert "chamber free" not in answer
    for page in ("readiness:now", "places:records", "walk:log", "treatments:runs"):
        shown = client.get(reverse(page, args=[site.key]))
        assert shown.status_code == 200, page
    assert "opened" in client.get(reverse("treatments:runs", args=[site.key])).content.decode()
    text = client.get(reverse("treatments:run", args=[site.key, run.pk])).content.decode()
    assert "has not left surface" in text
    assert "Treatment Table 6" in text
    assert "unconfirmed" in text


def test_the_pages_open_a_run_let_it_leave_surface_and_give_another_up() -> None:
    chamber = make.chamber()
    site = chamber.site
    plan = plan_of(chamber, table="TT5")
    tender = make.person(site)
    client = signed_in(make.user(site, "operator"))
    start = reverse("treatments:start_run", args=[site.key])
    typed = {
        "plan": plan.pk,
        "purpose": "treatment",
        "supervisor": "I. Tamaro",
        "tender": tender.pk,
        "patients": "2",
    }
    assert client.post(start, typed).status_code == 302
    run = Run.objects.get()
    assert [(one.role, one.label) for one in run.places.all()] == [
        ("supervisor", "I. Tamaro"), ("tender", tender.name), ("patient", "patient 1"), ("patient", "patient 2"),
    ]  # fmt: skip
    twice = client.post(start, typed)
    assert (twice.status_code, "give it up first" in twice.content.decode()) == (422, True)
    leave = reverse("treatments:leave_surface", args=[site.key, run.pk])
    assert "not screened" in client.get(leave).content.decode()
    now = events.now().strftime("%Y-%m-%d %H:%MZ")
    assert client.post(leave, {"at": "1 Jan 2199 10:00"}).status_code == 422
    assert client.post(leave, {"at": now}).status_code == 302, "a missing reason blocks nothing"
    page = client.get(reverse("treatments:run", args=[site.key, run.pk])).content.decode()
    assert "The reason is owed" in page
    assert (
        client.post(reverse("treatments:give_reason", args=[site.key, run.pk]), {"reason": "cannot wait"}).status_code
        == 302
    )
    assert "cannot wait" in Run.objects.get().shown
    give_up = reverse("treatments:give_up_run", args=[site.key, run.pk])
    assert client.post(give_up, {"reason": "x"}).status_code == 422, "it left surface"
    other = opened(make.chamber(site))
    give_up = reverse("treatments:give_up_run", args=[site.key, other.pk])
    assert client.post(give_up, {"reason": ""}).status_code == 422
    assert client.post(give_up, {"reason": "recovered"}).status_code == 302
    assert "given up before" in client.get(reverse("treatments:run", args=[site.key, other.pk])).content.decode()


def test_a_start_without_preparation_is_in_the_log_too_and_late_where_it_is() -> None:
    chamber = make.chamber()
    plan = plan_of(chamber)
    client = signed_in(make.user(chamber.site, "operator"))
    at = events.now() - timedelta(hours=3)
    typed = {
        "plan": plan.pk, "purpose": "treatment", "supervisor": "I. Tamaro", "at": at.strftime("%Y-%m-%d %H:%MZ"),
        "reason": "diver cannot wait",
    }  # fmt: skip
    assert client.post(reverse("treatments:start_run", args=[chamber.site.key]), typed).status_code == 302
    entry = LogEntry.objects.get()
    assert (entry.kind, entry.late) == ("left_surface", True)


def test_a_run_raises_the_counters_of_its_chamber_once() -> None:
    """Hand sums: one cycle, and 5 h under pressure, on top of what was read the day before."""
    run = opened()
    site = run.chamber.site
    cycles = counter(site, chamber=run.chamber)
    hours = counter(site, chamber=run.chamber, unit="hours", per_run=0, per_hour=1)
    reading(cycles, (T - timedelta(days=1)).date(), "412")
    reading(hours, (T - timedelta(days=1)).date(), "1900.5")
    left(run)
    reach_surface(run, T + timedelta(hours=5), make.BY)
    found = {one.unit: one.readings.latest("id").value for one in (cycles, hours)}
    assert found == {"cycles": Decimal(413), "hours": Decimal("1905.5")}
    with pytest.raises(ValidationError, match="ended already"):
        reach_surface(run, T + timedelta(hours=5), make.BY)
    assert cycles.readings.count() == 2
