"""Waivers and the crew, a sentence each; expected values by hand."""

from __future__ import annotations

from typing import Any

import pytest

from tests.make_facts import evaluated, facility, finding, gauge, held, one_need, person, plan, role, span

GOOD = gauge("2027-01-01T00:00Z")
UNREAD = gauge(None)
EXPIRED = gauge("2026-01-01T00:00Z")


def waiver(need: str = "N", **other: Any) -> dict[str, Any]:
    base = span("2026-11-27T00:00Z", "2026-11-28T00:00Z") | {"need": need, "plans": None, "to_end_of_run": False}
    return base | ({} if need == "crew" else {"accepts": 0}) | other


def waived(*members: dict[str, Any], k: int = 2, at: str = "2026-11-27T10:00Z", **other: Any) -> dict[str, Any]:
    facts = one_need(*members, k=k)
    facts["waivers"] = [waiver(**other)]
    return finding(facts, at)


@pytest.mark.parametrize(
    ("members", "accepts", "expected"),
    [
        ((GOOD, EXPIRED), 1, "limits"),
        ((EXPIRED, EXPIRED), 1, "stops"),
        ((EXPIRED, EXPIRED), 0, "limits"),
        ((UNREAD, EXPIRED), 1, "not known"),
        ((GOOD, UNREAD), 1, "limits"),
        ((GOOD, GOOD), 0, "holds"),
        ((GOOD, UNREAD), 5, "not known"),
    ],
)
def test_a_waiver_accepts_so_many_members(members: tuple[dict[str, Any], ...], accepts: int, expected: str) -> None:
    assert waived(*members, accepts=accepts)["state"] == expected


def test_a_waiver_never_deletes_the_finding() -> None:
    found = waived(GOOD, EXPIRED, accepts=1)
    assert (found["state"], found["without_waiver"], found["waived"]) == ("limits", "stops", True)
    assert found["counts"] == [1, 0, 0, 1]


@pytest.mark.parametrize(
    ("scope", "expected"),
    [
        ({"plans": ["P"]}, "limits"),
        ({"plans": []}, "stops"),
        ({"until": "2026-11-27T11:00Z"}, "stops"),
        ({"until": "2026-11-27T11:01Z"}, "limits"),
        ({"from": "2026-11-27T10:01Z"}, "stops"),
        ({"from": "2026-11-27T10:00Z"}, "limits"),
        ({"until": "2026-11-27T10:01Z", "to_end_of_run": True}, "limits"),
        ({"until": "2026-11-27T10:00Z", "to_end_of_run": True}, "stops"),
    ],
)
def test_a_waiver_is_bounded_in_plans_and_time(scope: dict[str, Any], expected: str) -> None:
    assert waived(EXPIRED, k=1, **scope)["state"] == expected


def test_a_non_waivable_need_ignores_waivers() -> None:
    facts = one_need(EXPIRED, waivable=False)
    facts["waivers"] = [waiver()]
    assert finding(facts)["state"] == "stops"


def test_each_waiver_is_judged_alone_and_the_best_counts() -> None:
    facts = one_need(UNREAD, EXPIRED, k=2)
    facts["waivers"] = [waiver(accepts=1), waiver(accepts=0, until="2026-11-27T15:00Z")]
    found = evaluated(facts)
    assert found["state"] == "Ready with limits"
    assert found["holds_until"] == "2026-11-27T14:00Z"


def test_the_need_itself_lapses_whatever_is_waived() -> None:
    facts = one_need(gauge("2026-11-27T20:00Z"))
    facts["waivers"] = [waiver(until="2026-11-30T00:00Z")]
    found = finding(facts)
    assert found["lapses_at"] == "2026-11-27T20:00Z"
    assert found["start_until"] == "2026-11-27T19:00Z"


# Crew


def crew(people: dict[str, Any], *roles: dict[str, Any], **other: Any) -> dict[str, Any]:
    asked = plan(roles=list(roles or [role("panel", "panel"), role("tender", "tender")]))
    return facility(people=people, plans={"P": asked}) | other


def crew_finding(facts: dict[str, Any], at: str = "2026-11-27T10:00Z") -> dict[str, Any]:
    return finding(facts, at, "crew")


def test_one_person_fills_one_role_per_run() -> None:
    assert crew_finding(crew({"Ana": person("panel", "tender")}))["filled"] == [1, 1, 1]


def test_relief_is_a_role_of_its_own_with_another_person() -> None:
    relief = (role("tender 1", "tender", to=30), role("tender 2", "tender", **{"from": 30}))
    assert crew_finding(crew({"Bo": person("tender")}, *relief))["state"] == "stops"
    until_half = person("tender", duty_until="2026-11-27T10:31Z")
    assert crew_finding(crew({"Bo": person("tender"), "Cy": until_half}, *relief))["state"] == "holds"
    until_half["duty"][0]["until"] = "2026-11-27T10:30Z"
    assert crew_finding(crew({"Bo": person("tender"), "Cy": until_half}, *relief))["state"] == "stops"


def test_a_role_of_two_is_two_places() -> None:
    two = role("tender", "tender", count=2)
    assert crew_finding(crew({"Bo": person("tender")}, two))["slots"] == 2
    assert crew_finding(crew({"Bo": person("tender"), "Cy": person("tender")}, two))["state"] == "holds"


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({}, "holds"),
        ({"restricted": [span("2026-11-27T10:59Z", "2026-12-01T00:00Z")]}, "limits"),
        ({"restricted": [span("2026-11-27T11:01Z", "2026-12-01T00:00Z")]}, "holds"),
        ({"medical": []}, "not known"),
        ({"medical": held("2026-11-27T11:00Z")}, "stops"),
        ({"medical": held("2026-11-27T11:01Z")}, "holds"),
        ({"medical": held(second_look=True)}, "not known"),
        ({"medical": [span("2026-12-01T00:00Z", None) | {"second_look": False}]}, "not known"),
        ({"qualifications": {}}, "stops"),
        ({"qualifications": {"tender": []}}, "stops"),
        ({"qualifications": {"tender": held(second_look=True)}}, "not known"),
        ({"qualifications": {"tender": held("2026-11-27T11:00Z")}}, "stops"),
        ({"duty": []}, "stops"),
        ({"duty": [span("2026-11-27T10:00Z", "2026-11-27T11:01Z")]}, "holds"),
        ({"duty": [span("2026-11-27T10:00Z", "2026-11-27T11:00Z")]}, "stops"),
        (
            {"duty": [span("2026-11-27T09:00Z", "2026-11-27T10:30Z"), span("2026-11-27T10:30Z", "2026-11-28T00:00Z")]},
            "holds",
        ),
        ({"waits": [span("2026-11-27T00:00Z", "2026-11-27T10:00Z")]}, "holds"),
        ({"waits": [span("2026-11-27T00:00Z", "2026-11-27T10:01Z")]}, "stops"),
    ],
)
def test_a_person_is_good_through_the_part_of_the_role(change: dict[str, Any], expected: str) -> None:
    facts = crew({"Bo": person("tender") | change}, role("tender", "tender", medical=True))
    assert crew_finding(facts)["state"] == expected


def test_off_duty_is_bad_and_beyond_the_roster_unknown() -> None:
    facts = crew({"Bo": person("tender")}, role("tender", "tender"), roster_until="2026-11-28T08:00Z")
    assert crew_finding(facts, "2026-11-28T07:00Z")["state"] == "not known"
    facts["roster_until"] = "2026-11-29T00:00Z"
    assert crew_finding(facts, "2026-11-28T07:00Z")["state"] == "stops"
    assert crew_finding(facts, "2026-11-29T00:00Z")["state"] == "not known"


def test_people_get_worse_one_after_the_other_and_the_crew_changes_as_long_as_it_can() -> None:
    people = {
        "Ana": person("panel", "tender", duty_until="2026-11-27T20:00Z"),
        "Bo": person("tender", duty_until="2026-11-27T14:00Z"),
        "Cy": person("tender", duty_until="2026-11-27T18:00Z"),
    }
    found = evaluated(crew(people))
    assert (found["holds_until"], found["limiting"]) == ("2026-11-27T17:00Z", ["crew"])


def test_whoever_would_fill_one_more_place_is_listed_with_what_lacks() -> None:
    bo = {
        "qualifications": {},
        "medical": [],
        "duty": [],
        "waits": [span("2026-11-27T00:00Z", "2026-11-28T00:00Z")],
        "restricted": [],
    }
    facts = crew({"Ana": person("panel"), "Bo": bo}, role("panel", "panel"), role("tender", "tender", medical=True))
    found = crew_finding(facts)
    assert found["lifts"] == [
        {"person": "Bo", "role": "tender", "lacks": ["medical", "duty", "wait", "qualification tender"]}
    ]
    assert found["roles_short"] == ["tender"]


@pytest.mark.parametrize(
    ("without", "expected"),
    [(["tender"], "limits"), (["panel"], "limits"), ([], "stops"), (["panel", "tender"], "limits")],
)
def test_a_crew_waiver_does_without_the_named_roles(without: list[str], expected: str) -> None:
    facts = crew({"Ana": person("panel", "tender")})
    facts["waivers"] = [waiver("crew", without=without)]
    assert crew_finding(facts)["state"] == expected


def test_a_crew_waiver_takes_one_place_and_the_rest_must_be_filled() -> None:
    facts = crew({"Bo": person("tender")}, role("tender", "tender", count=3))
    facts["waivers"] = [waiver("crew", without=["tender"])]
    assert crew_finding(facts)["state"] == "stops"
    facts["people"]["Cy"] = person("tender")
    assert crew_finding(facts)["state"] == "limits"


def test_a_crew_that_may_not_be_waived_is_not() -> None:
    facts = crew({"Ana": person("panel", "tender")})
    facts["waivers"] = [waiver("crew", without=["tender"])]
    facts["plans"]["P"]["crew_waivable"] = False
    assert crew_finding(facts)["state"] == "stops"


def test_a_crew_waiver_for_other_plans_does_not_act() -> None:
    facts = crew({"Ana": person("panel", "tender")})
    facts["plans"]["other"] = facts["plans"]["P"]
    facts["waivers"] = [waiver("crew", without=["tender"], plans=["other"])]
    assert crew_finding(facts)["state"] == "stops"
