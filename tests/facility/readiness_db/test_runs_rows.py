"""A chamber in use, what a run leaves behind, waivers, and what belongs to other sites."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from facility import services
from facility.compute.facts_json import dump_facts, load_facts
from facility.compute.findings import Evaluation
from facility.compute.instants import format_instant, instant_of
from facility.compute.readiness import evaluate
from facility.models import Chamber
from facility.project.bench.scratch import AT, Size, facilities
from facility.readiness.gather import gather
from facility.readiness.services import answer_for, answer_lines, evaluate_chamber
from tests import make
from tests.facility.readiness_db import build
from tests.facility.readiness_db.build import T

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def chamber() -> Chamber:
    return build.worked_example()


def answer(chamber: Chamber, at: Any = T) -> Evaluation:
    (facts,) = gather([chamber], at).values()
    return evaluate(facts, instant_of(at))["tt6"]


def test_a_chamber_in_use_stops_every_plan_until_its_end_and_the_turn_round(chamber: Chamber) -> None:
    build.run(chamber.plans.get(), T - HOUR, T + 2 * HOUR)
    found = answer(chamber)
    assert found.state == "Not ready"
    assert set(found.in_the_way) >= {"chamber", "oxygen"}
    assert found.findings["oxygen"].state == "not known"  # what it breathes from is unknown until read
    # a house rule of 60 min turn-round by default: 12:00 and one hour
    assert found.findings["chamber"].state == "stops"
    only_chamber = evaluate_chamber(chamber, T).facts.members["chamber"]
    assert format_instant(only_chamber.defects[0].until or 0) == "2026-11-27T13:00Z"  # type: ignore[union-attr]


def test_a_site_s_own_need_called_chamber_is_kept_beside_it(chamber: Chamber) -> None:
    own = build.need(chamber, "chamber", build.good_gauge(chamber), name="Chamber inspected")
    chamber.plans.get().needs.add(own)
    build.run(chamber.plans.get(), T - HOUR, T + 2 * HOUR)
    shown = evaluate_chamber(chamber, T).plain("tt6")["findings"]
    assert (shown["chamber"]["state"], shown["chamber free"]["state"]) == ("holds", "stops")
    assert "in use since" in shown["chamber free"]["reason"]


def test_a_run_that_outlasts_its_plan_keeps_the_chamber(chamber: Chamber) -> None:
    build.run(chamber.plans.get(), T - 9 * HOUR, T - HOUR)
    assert "chamber" in answer(chamber).in_the_way


def test_a_bank_read_after_the_start_is_known_again(chamber: Chamber) -> None:
    plan = chamber.plans.get()
    build.run(plan, T - HOUR, T + 2 * HOUR)
    build.reading(chamber.banks.get(), T - HOUR / 2)
    assert answer(chamber).findings["oxygen"].state == "holds"


def test_after_a_run_check_and_bank_count_only_from_its_end(chamber: Chamber) -> None:
    build.run(chamber.plans.get(), T - 3 * HOUR, T - HOUR, ended_at=T - HOUR)
    found = answer(chamber)
    assert set(found.in_the_way) == {"check", "oxygen"}
    assert found.state == "Not known"
    build.reading(chamber.banks.get(), T - HOUR)
    build.signed(chamber.sheets.get(), T - HOUR / 2)
    assert answer(chamber).state == "Ready"


def test_a_run_in_another_chamber_of_the_site_unreads_the_bank_they_share(chamber: Chamber) -> None:
    other = make.chamber(chamber.site)
    shared = build.need(other, "oxygen", chamber.banks.get(), gas="O2")
    build.run(build.plan(other, "p", shared), T - HOUR, T + HOUR)
    assert answer(chamber).in_the_way == ("oxygen",)


def test_a_waiver_turns_a_missing_check_into_a_limit_and_is_told(chamber: Chamber) -> None:
    build.signed(chamber.sheets.get(), T - HOUR, "failed")
    need = chamber.needs.get(key="check")
    assert answer(chamber).state == "Not ready"
    build.waiver(chamber, need, T - HOUR, T + 24 * HOUR, why="short check done by voice")
    assert answer(chamber).state == "Ready with limits"
    shown = evaluate_chamber(chamber, T).plain("tt6")["findings"]["check"]
    assert "Under a waiver by Ina Test until" in shown["reason"]
    assert "short check done by voice" in shown["reason"]


def test_a_crew_waiver_names_the_roles_it_does_without(chamber: Chamber) -> None:
    for span in chamber.site.people.get(key="bo").duty.all():
        services.retire(span, by=make.BY, reason="ill")
    assert answer(chamber).in_the_way == ("crew",)
    build.waiver(chamber, None, T - HOUR, T + 24 * HOUR, without=["inside tender"])
    assert answer(chamber).state == "Ready with limits"


def test_a_retired_plan_or_need_is_gone(chamber: Chamber) -> None:
    services.retire(chamber.needs.get(key="oxygen"), by=make.BY, reason="never used")
    assert "oxygen" not in answer(chamber).findings
    services.retire(chamber.plans.get(), by=make.BY, reason="no longer treated")
    (facts,) = gather([chamber], T).values()
    assert facts.plans == {}


def test_nothing_of_another_site_leaks_in(chamber: Chamber) -> None:
    (before,) = gather([chamber], T).values()
    (twin,) = facilities(1, Size(items=6, people=3, plans=2, needs=5, months=1), prefix="twin")
    type(chamber).objects.filter(pk=twin.pk).update(key=chamber.key)
    together = gather([twin, chamber], T)
    assert together[chamber] == before
    assert set(together[twin].people) == {"p-00", "p-01", "p-02"}


def test_the_facts_survive_json_and_give_the_same_answer(chamber: Chamber) -> None:
    build.waiver(chamber, chamber.needs.get(key="check"), T - HOUR, T + 24 * HOUR)
    build.run(chamber.plans.get(), T - HOUR, T + 2 * HOUR)
    build.medical(chamber.site.people.get(key="ana"), "limited")
    (facts,) = gather([chamber], T).values()
    again = load_facts(json.dumps(dump_facts(facts)))
    assert again == facts
    assert evaluate(again, instant_of(T)) == evaluate(facts, instant_of(T))


def queries(chambers: list[Chamber]) -> int:
    with CaptureQueriesContext(connection) as asked:
        gather(chambers, AT)
    return len(asked)


def test_queries_do_not_grow_with_items_years_or_chambers() -> None:
    few = facilities(1, Size(items=3, people=1, plans=1, needs=4, months=1), prefix="few")
    many = facilities(3, Size(items=300, people=30, plans=12, months=1), prefix="many")
    old = facilities(1, Size(items=3, people=1, plans=1, needs=4, months=120), prefix="old")
    assert queries(few) == queries(many) == queries(old) == 2


def test_what_was_shown_is_told_in_words_by_the_clock_of_the_site(chamber: Chamber) -> None:
    """Oslo is an hour ahead of UTC in November (IANA tz); 17:22Z as in the worked example."""
    chamber.site.zone = "Europe/Oslo"
    text = answer_for(chamber, T)
    assert "(Europe/Oslo)\n" in text
    assert "TT6: Ready, until 27 Nov 2026 18:22, limited by Inner-lock-depth" in text
    assert (
        "TT6: Ready, until 2026-11-27T17:22Z, limited by Inner-lock-depth"
        in answer_lines(evaluate_chamber(chamber, T))[0]
    )


def test_without_bo_one_place_is_short_and_one_more_person_lifts_it(chamber: Chamber) -> None:
    """From the worked example: without Bo not ready, one place short; one more person for either role lifts it."""
    services.retire(chamber.site.people.get(key="bo"), by=make.BY, reason="left")
    shown = evaluate_chamber(chamber, T).plain("tt6")["findings"]["crew"]
    assert (shown["state"], shown["slots"], shown["filled"][0]) == ("stops", 2, 1)
    assert set(shown["roles_short"]) == {"panel operator", "inside tender"}
    assert "one more person for panel operator or inside tender" in shown["lift"]


def test_two_of_three_gauges_and_one_litre_short_as_in_the_worked_example(chamber: Chamber) -> None:
    """With 2 of 3 gauges: until 15:52, G2's end less 8 h 38."""
    need = chamber.needs.get(key="inner-lock-depth")
    type(need).objects.filter(pk=need.pk).update(k=2)
    found = answer(chamber)
    assert format_instant(found.holds_until or 0) == "2026-11-27T15:52Z"
