"""Facilities as plain JSON values: the worked example, and a large one to time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from facility.compute.facts_json import facility_of
from facility.compute.findings import dump_evaluation
from facility.compute.instants import parse_instant
from facility.compute.readiness import evaluate

GAUGES = ("G1", "G2", "G3")
TT6_DURATION_MIN = 288 + 2 * 25 + 2 * 75 + 30


def span(since: str, until: str | None) -> dict[str, Any]:
    """A span of a record."""
    return {"from": since, "until": until}


def held(until: str | None = None, *, second_look: bool = False) -> list[dict[str, Any]]:
    """One qualification or medical from long ago until an instant."""
    return [{"from": "2020-01-01T00:00Z", "until": until, "second_look": second_look}]


def person(*qualifications: str, duty_until: str = "2026-11-28T08:00Z") -> dict[str, Any]:
    """A person on duty who holds some qualifications."""
    return {
        "qualifications": {name: held() for name in qualifications},
        "medical": held(),
        "duty": [span("2026-11-20T08:00Z", duty_until)],
        "waits": [],
        "restricted": [],
    }


def gauge(until: str | None) -> dict[str, Any]:
    """A gauge with one interval; None: never calibrated."""
    return {
        "kind": "equipment",
        "due": [{"name": "calibration", "until": until}],
        "results": [],
        "defects": [],
        "counters": [],
    }


def role(name: str, *qualifications: str, **other: Any) -> dict[str, Any]:
    """A role of one place through the whole run."""
    return {
        "role": name,
        "count": 1,
        "qualifications": list(qualifications),
        "medical": False,
        "from": 0,
        "to": None,
    } | other


def need(*members: str, k: int = 1, **other: Any) -> dict[str, Any]:
    """A need through the whole run that stops it."""
    return {
        "k": k,
        "members": list(members),
        "from": 0,
        "to": None,
        "effect": "stops",
        "waivable": True,
    } | other


def plan(*needs: str, **other: Any) -> dict[str, Any]:
    """A plan of one hour without crew or gas."""
    return {
        "table_min": 60,
        "extensions": [],
        "margin_min": 0,
        "needs": list(needs),
        "roles": [],
        "gas": {},
        "crew_waivable": True,
        "wait_min": 0,
    } | other


def facility(**other: Any) -> dict[str, Any]:
    """A facility in UTC with nothing in it but what is given."""
    return {
        "zone": "UTC",
        "roster_until": None,
        "age_limit_min": {"bank": 1440, "check": 1440},
        "members": {},
        "people": {},
        "needs": {},
        "plans": {},
        "waivers": [],
    } | other


def _worked_members() -> dict[str, Any]:
    return {
        "G1": gauge("2026-11-28T02:00Z"),
        "G2": gauge("2026-11-28T00:30Z"),
        "G3": gauge(None),
        "bank A": {
            "kind": "bank",
            "gas": "oxygen",
            "due": [],
            "defects": [],
            "cylinders": [
                {
                    "id": "A1",
                    "usable": 7000,
                    "read_at": "2026-11-27T06:00Z",
                    "analysis": "passed",
                }
            ],
        },
        "daily check": {
            "kind": "check",
            "checks": [{"signed_at": "2026-11-26T18:00Z", "result": "passed"}],
            "opened": [],
        },
    }


def worked_example() -> dict[str, Any]:
    """The worked example of the design: TT6 on 27 November 2026, ready until 17:22."""
    return facility(
        members=_worked_members(),
        people={"Ana": person("panel", "tender"), "Bo": person("tender")},
        needs={
            "inner-lock depth": need(*GAUGES),
            "oxygen": need("bank A", gas="oxygen"),
            "check": need("daily check"),
        },
        plans={
            "TT6": plan(
                "inner-lock depth",
                "oxygen",
                "check",
                table_min=288,
                extensions=[{"minutes": 25, "allowed": 2}, {"minutes": 75, "allowed": 2}],
                margin_min=30,
                roles=[role("panel", "panel"), role("tender", "tender")],
                gas={"oxygen": {"demand": 6000, "reserve": 1000}},
            )
        },
    )


BIG_AT = "2026-11-27T10:00Z"
BIG_SKILLS = ("panel", "tender", "supervisor", "physician", "gas")


def _day(day: int, clock: str = "08:00") -> str:
    """The ``day``-th day after 1 November 2026, at a clock time in UTC."""
    moment = datetime(2026, 11, 1, tzinfo=UTC) + timedelta(days=day)
    return f"{moment:%Y-%m-%d}T{clock}Z"


def _big_member(number: int) -> dict[str, Any]:
    if number % 30 == 1:
        return {
            "kind": "bank",
            "gas": "oxygen" if number % 60 == 1 else "air",
            "due": [{"name": "test", "until": {"date": "2027-06-30", "window_days": 0}}],
            "defects": [],
            "cylinders": [
                {"id": f"c{i}", "usable": 3000, "read_at": _day(26, "06:00"), "analysis": "passed"} for i in range(6)
            ],
        }
    if number % 30 == 2:
        checks = [{"signed_at": _day(day, "18:00"), "result": "passed"} for day in range(20, 26)]
        return {"kind": "check", "checks": checks, "opened": [_day(12)]}
    return {
        "kind": "equipment",
        "due": [
            {"name": "calibration", "until": {"date": f"2027-{1 + number % 12:02d}-{1 + number % 28:02d}"}},
            {"name": "inspection", "from": _day(0), "until": _day(60 + number % 90)},
        ],
        "results": [{"at": _day(day), "result": "passed"} for day in range(10, 26, 3)],
        "defects": [span(_day(40 + number % 50), _day(42 + number % 50)) | {"effect": "out", "plans": None}]
        if number % 5 == 0
        else [],
        "counters": [{"name": "cycles", "count": 900, "limit": 5000, "per_run": 1, "per_hour": 0}]
        if number % 4 == 0
        else [],
    }


def _big_person(number: int) -> dict[str, Any]:
    skills = [BIG_SKILLS[number % 5], BIG_SKILLS[(number * 2 + 1) % 5]]
    weeks = range(number % 3, 8, 2)
    return {
        "qualifications": {skill: held(_day(90 + number + 11 * place)) for place, skill in enumerate(skills)},
        "medical": held(_day(70 + 3 * number)),
        "duty": [span(_day(7 * week), _day(7 * week + 8)) for week in weeks],
        "waits": [span(_day(26, "02:00"), _day(27, "02:00"))] if number % 10 == 0 else [],
        "restricted": [],
    }


def big_facility(members: int = 300, people: int = 30, plans: int = 12) -> dict[str, Any]:
    """A large facility whose plans each rest on 40 needs and a crew of six."""
    items = {f"m{number}": _big_member(number) for number in range(members)}
    plain = [name for name, item in items.items() if item["kind"] == "equipment"]
    needs = {
        f"n{number}": need(*plain[3 * number : 3 * number + 3], k=1 + number % 2, effect="stops")
        for number in range(len(plain) // 3)
    }
    for name, item in items.items():
        if item["kind"] == "bank":
            needs[name] = need(name, gas=item["gas"])
        if item["kind"] == "check":
            needs[name] = need(name)
    names = list(needs)
    return facility(
        zone="Europe/Oslo",
        roster_until=_day(60),
        members=items,
        people={f"p{number}": _big_person(number) for number in range(people)},
        needs=needs,
        plans={
            f"table {number}": plan(
                *[names[(7 * number + 3 * i) % len(names)] for i in range(min(40, len(names)))],
                table_min=120 + 35 * number,
                extensions=[{"minutes": 25, "allowed": number % 3}],
                margin_min=30,
                roles=[
                    role("supervisor", "supervisor", medical=True),
                    role("panel", "panel"),
                    role("tender 1", "tender", medical=True, to=120),
                    role("tender 2", "tender", medical=True, **{"from": 120}),
                    role("gas", "gas", count=2),
                ],
                gas={name: {"demand": 6000 + 100 * number, "reserve": 900} for name in ("oxygen", "air")},
                wait_min=720,
            )
            for number in range(plans)
        },
    )


AT = "2026-11-27T10:00Z"


def evaluated(facts: dict[str, Any], at: str = AT) -> dict[str, Any]:
    """The evaluation of the first plan, in its JSON shape."""
    found = evaluate(facility_of(facts), parse_instant(at))
    return dump_evaluation(next(iter(found.values())))


def one_need(*members: dict[str, Any], k: int = 1, **other: Any) -> dict[str, Any]:
    """A facility with one plan of an hour that rests on one need, ``N``, of these members."""
    names = [f"M{number}" for number in range(len(members))]
    return facility(
        members=dict(zip(names, members, strict=True)),
        needs={"N": need(*names, k=k, **other)},
        plans={"P": plan("N")},
    )


def finding(facts: dict[str, Any], at: str = AT, name: str = "N") -> dict[str, Any]:
    """The finding of one need of the first plan."""
    found: dict[str, Any] = evaluated(facts, at)["findings"][name]
    return found
