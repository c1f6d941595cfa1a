"""What is kept of many chambers counts only while nothing was recorded since, and not for long."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from facility import events, services
from facility.compute.fleet import SHOWN_FOR, Kept, Log, Old, chamber_state, shown_until, why_old
from facility.compute.states import STATES, State
from facility.fleet import refreshing
from facility.fleet.keeping import kept_chambers, log_of
from facility.fleet.states import states_of
from facility.gathered import current
from facility.models import Chamber, Event, FleetState, QualificationKind
from facility.readiness.services import answers
from facility.sweep.looking import ClockError
from tests import make
from tests.facility.readiness_db import build as rows
from tests.fleet import build

if TYPE_CHECKING:
    from datetime import datetime

pytestmark = [pytest.mark.django_db, pytest.mark.both]
T = build.T


def reasons(at: datetime) -> dict[str, Old | None]:
    """Return why what is kept of each site's chamber does not count."""
    kept = list(kept_chambers(current(Chamber)))
    log = log_of(kept, at)
    return {row.site_key: why_old(row.kept, at, log, changed=row.changed) for row in kept}


def test_what_was_just_kept_counts(clock: list[datetime]) -> None:
    build.three()
    assert set(reasons(T).values()) == {Old.NEVER}
    assert refreshing.refresh() == "3 chambers reckoned anew."
    assert reasons(T) == {"alna": None, "bekk": None, "dokka": None}


def test_it_counts_up_to_its_age_and_not_at_it(clock: list[datetime]) -> None:
    build.three()
    refreshing.refresh()
    assert reasons(T + SHOWN_FOR - timedelta(seconds=1))["alna"] is None
    assert reasons(T + SHOWN_FOR)["alna"] == Old.AGE


def test_an_event_of_its_site_makes_it_old_and_leaves_the_others(clock: list[datetime]) -> None:
    chambers = build.three()
    refreshing.refresh()
    make.equipment(chambers[1].site)
    assert reasons(T) == {"alna": None, "bekk": Old.CHANGED, "dokka": None}


def test_an_event_of_a_common_thing_makes_all_of_it_old(clock: list[datetime]) -> None:
    chambers = build.three()
    refreshing.refresh()
    services.add(QualificationKind(organisation=chambers[0].site.organisation, key="panel", name="Panel"), by=make.BY)
    assert set(reasons(T).values()) == {Old.CHANGED}


@pytest.mark.parametrize(
    "action", ["account:signed out elsewhere", "security:locked out", "records:verified", "backup:made"]
)
def test_an_event_of_accounts_or_backups_makes_nothing_old(clock: list[datetime], action: str) -> None:
    build.three()
    refreshing.refresh()
    events.record(None, events.What(action), by=make.BY)
    assert set(reasons(T).values()) == {None}


def test_an_event_of_an_unknown_sort_without_a_site_makes_all_of_it_old(clock: list[datetime]) -> None:
    build.three()
    refreshing.refresh()
    events.record(None, events.What("software:upgraded"), by=make.BY)
    assert set(reasons(T).values()) == {Old.CHANGED}


def test_an_answer_past_its_end_is_old_before_its_age(clock: list[datetime]) -> None:
    (first, *_others) = build.three()
    gauge = first.site.equipment.get()
    rows.defect(gauge, T + timedelta(minutes=70), what="planned shut-down")  # less a run of 60 min
    refreshing.refresh()
    kept = FleetState.objects.get(chamber=first)
    assert (kept.state, kept.holds_until) == ("Ready", T + timedelta(minutes=10))
    assert reasons(T + timedelta(minutes=10, seconds=-1))["alna"] is None
    assert reasons(T + timedelta(minutes=10))["alna"] == Old.ENDED


def test_an_answer_of_later_than_the_clock_does_not_count(clock: list[datetime]) -> None:
    build.three()
    refreshing.refresh()
    assert reasons(T - timedelta(seconds=1))["alna"] == Old.CLOCK


def test_an_answer_that_saw_events_the_log_does_not_have_does_not_count(clock: list[datetime]) -> None:
    """An older database was put back under newer rows, or the log's end was cut off."""
    build.three()
    refreshing.refresh()
    newest = Event.objects.count()
    kept = Kept(T, newest + 1, None)
    assert why_old(kept, T, Log(newest, 0), changed=False) == Old.LOG


def test_what_is_recorded_while_it_is_reckoned_makes_it_old(
    clock: list[datetime], monkeypatch: pytest.MonkeyPatch
) -> None:
    chambers = build.three()

    def slow(*given: object) -> object:
        found = list(states_of(*given))  # type: ignore[arg-type]
        make.equipment(chambers[0].site)
        return found

    monkeypatch.setattr(refreshing, "states_of", slow)
    refreshing.refresh()
    assert reasons(T) == {"alna": Old.CHANGED, "bekk": None, "dokka": None}


def test_a_run_that_a_fast_clock_dated_ahead_ends_the_answer_when_it_begins(clock: list[datetime]) -> None:
    (first, *_others) = build.three()
    rows.run(first.plans.get(), T + timedelta(minutes=4), T + timedelta(hours=2))
    refreshing.refresh()
    assert reasons(T + timedelta(minutes=4, seconds=-1))["alna"] is None
    assert reasons(T + timedelta(minutes=4))["alna"] == Old.ENDED


def test_only_what_is_old_or_soon_will_be_is_reckoned_anew(clock: list[datetime]) -> None:
    chambers = build.three()
    refreshing.refresh()
    assert refreshing.refresh() == "0 chambers reckoned anew."
    make.equipment(chambers[2].site)
    assert refreshing.refresh() == "1 chamber reckoned anew."
    clock[0] = T + SHOWN_FOR - refreshing.RENEWED_BEFORE
    assert refreshing.refresh() == "3 chambers reckoned anew."
    assert FleetState.objects.count() == 3


def test_with_a_clock_behind_the_records_nothing_is_kept(clock: list[datetime]) -> None:
    build.three()
    clock[0] = T - timedelta(days=1)
    with pytest.raises(ClockError, match="Set the clock"):
        refreshing.refresh()
    assert not FleetState.objects.exists()


def test_a_retired_chamber_is_not_reckoned(clock: list[datetime]) -> None:
    chambers = build.three()
    services.retire(chambers[0], by=make.BY, reason="sold")
    assert refreshing.refresh() == "2 chambers reckoned anew."


def test_the_run_under_way_what_lapses_next_and_what_is_past_its_day_are_kept(clock: list[datetime]) -> None:
    (first, second, *_others) = build.three()
    rows.run(first.plans.get(), T - timedelta(hours=1), T + timedelta(hours=2))
    late = make.equipment(second.site, tag="V-1")
    make.work(make.rule(late, months=1, name="seat look"), T.date() - timedelta(days=90))
    make.rule(late, months=1, name="never done")
    refreshing.refresh()
    states = {one.chamber.site.key: one for one in FleetState.objects.select_related("chamber__site")}
    assert (states["alna"].state, states["alna"].in_use_by) == ("Not ready", "1")
    assert states["bekk"].overdue == 2
    # calibrated on 1 November 2026, good for 12 months: by hand
    assert (str(states["bekk"].lapses_on), states["bekk"].lapses_what[-11:]) == ("2027-11-01", "calibration")


def test_a_thing_of_one_chamber_does_not_count_at_the_other_one_of_its_site(clock: list[datetime]) -> None:
    first = build.chamber(key="alna")
    second = make.chamber(first.site, key="chamber-2", name="Chamber 2")
    make.rule(make.equipment(first.site, chamber=second, tag="V-2"), months=1, name="never done")
    make.rule(make.equipment(first.site, tag="V-3"), months=1, name="never done")
    refreshing.refresh()
    assert {one.chamber_id: one.overdue for one in FleetState.objects.all()} == {first.pk: 1, second.pk: 2}


def test_a_chamber_without_a_plan_is_not_known(clock: list[datetime]) -> None:
    make.chamber()
    refreshing.refresh()
    assert FleetState.objects.get().state == "Not known"


def test_kept_plans_say_what_the_live_answer_says(clock: list[datetime]) -> None:
    build.three()
    rows.worked_example()
    refreshing.refresh()
    kept = {one.chamber_id: {plan["plan"]: plan["state"] for plan in one.plans} for one in FleetState.objects.all()}
    live = {
        one.chamber.pk: {plan: str(found.state) for plan, found in one.evaluations.items()}
        for one in answers(current(Chamber), T)
    }
    assert kept == live
    # the worked example, by hand: start before 17:22
    example = FleetState.objects.get(chamber__site__key="skerrow")
    assert f"{example.holds_until:%H:%M}" == "17:22"


def test_the_word_for_a_chamber_over_every_set_of_words() -> None:
    """Against the rule written once more, the slow way."""
    for number in range(1, 2 ** len(STATES)):
        words = [word for place, word in enumerate(STATES) if number >> place & 1]
        startable = [word for word in words if word.startswith("Ready")]
        if len(startable) == len(words) and State.READY_WITH_LIMITS not in words:
            expected = "Ready"
        elif startable:
            expected = "Ready with limits"
        else:
            expected = "Not known" if "Not known" in words else "Not ready"
        assert chamber_state(words) == expected, words


def test_nobody_goes_by_a_kept_answer_after_its_end_or_its_age() -> None:
    assert shown_until(Kept(T, 1, None)) == T + timedelta(minutes=15)
    assert shown_until(Kept(T, 1, T + timedelta(minutes=3))) == T + timedelta(minutes=3)
