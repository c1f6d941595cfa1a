"""Made-up evaluations in the plain shape of the readiness facts, to draw pages from. All of it is invented."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

from facility.readiness.panels import CallFirst, Contact, Demand, GasRow, OnCall, OpenThing
from facility.readiness.rows import PlanMeta, PlanRow, plan_row, sentence_of
from facility.readiness.why import why_of

ZONE = "Europe/Oslo"  # UTC+1 in November
NOW = datetime(2026, 11, 26, 13, 20, tzinfo=UTC)  # 14:20 at the site
NAMES = {
    "check": "Daily check",
    "crew": "Crew",
    "fire": "Fire-water flow test",
    "air": "Air store",
    "oxygen": "Oxygen for extensions",
    "dump": "Overboard dump, seat 3",
    "vessel": "Pressure vessel, examination by the notified body of the region and its written report",
    "depth": "Inner-lock depth",
}


def finding(state: str = "holds", lapses_at: str | None = None, start_until: str | None = None, **extra: Any) -> dict[str, Any]:  # fmt: skip
    """Return one finding; ``extra`` as a site adds it."""
    shape: dict[str, Any] = {
        "state": state,
        "without_waiver": state,
        "waived": False,
        "counts": [1, 0, 0, 0],
        "start_until": start_until,
        "lapses_at": lapses_at,
    }
    return shape | extra


def evaluation(state: str, duration_min: int, findings: dict[str, dict[str, Any]], **fields: Any) -> dict[str, Any]:
    """Return one evaluation with what is left out as nothing."""
    blank: dict[str, Any] = {"holds_until": None, "limiting": [], "ready_from": None, "in_the_way": []}
    return {"state": state, "duration_min": duration_min, "findings": findings} | blank | fields


CHECK = finding(
    lapses_at="2026-11-27T06:42Z", start_until="2026-11-27T06:42Z", reason="Signed 26 Nov 2026 07:42 by I. Tamaro.",
    value="6 h 38 old", limit="24 h 00 after signing", source="House rule: age of a check",
    members=[{"id": "sheet:daily", "name": "Daily check", "state": "good", "url": "/checks/1/"}],
)  # fmt: skip
VESSEL = finding(
    lapses_at="2027-05-27T22:00Z", start_until="2027-05-27T19:00Z", value="done 27 May 2026", limit="27 May 2027",
    source="Interval rule: examination of the vessel, 12 months",
)  # fmt: skip
FIRE = finding(lapses_at="2026-12-03T23:00Z", start_until="2026-12-03T20:00Z", value="8.2 bar", limit="7.0 bar or more")
DEPTH = finding(
    lapses_at=None, counts=[2, 0, 1, 0], reason="Two gauges are good, one was never calibrated.",
    members=[
        {"id": "equipment:IL-D1", "name": "IL-D1 inner-lock depth, panel", "state": "good", "url": "/plant/1/"},
        {"id": "equipment:IL-D3", "name": "IL-D3", "state": "unknown", "reason": "calibration never recorded"},
    ],
)  # fmt: skip
CREW = finding(
    lapses_at="2026-11-27T00:00Z", start_until="2026-11-26T17:00Z", counts=[3, 0, 0, 0], slots=3, filled=[3, 3, 3], lifts=[], roles_short=[],
    reason="All three places are filled.", source="Crew rule", value="P. Nakoa on duty until 01:00",
)  # fmt: skip

READY = evaluation(
    "Ready", 180, {"check": CHECK, "vessel": VESSEL, "fire": FIRE},
    holds_until="2026-11-27T06:42Z", limiting=["check"],
)  # fmt: skip
LIMITED = evaluation(
    "Ready with limits", 420,
    {
        "crew": CREW, "check": CHECK, "fire": FIRE, "depth": DEPTH, "vessel": VESSEL,
        "oxygen": finding(
            "limits", "2026-11-27T06:31Z", "2026-11-27T06:31Z", counts=[1, 0, 0, 1],
            reason="enough for two, not for four.", value="20 300 L", limit="21 030 L",
            source="House rule: reserve", lift="supervisor, by returning bank 2",
            members=[
                {"id": "bank:o2-1", "name": "Oxygen bank 1", "state": "good", "url": "/banks/1/"},
                {"id": "bank:o2-2", "name": "Oxygen bank 2", "state": "bad", "reason": "out of service from 24 Nov 2026 16:12, tag 0147: regulator creeps"},
            ],
        ),
    },
    holds_until="2026-11-26T17:00Z", limiting=["crew"],
)  # fmt: skip
REFUSED = evaluation(
    "Not ready", 510,
    {
        "air": finding(
            "stops", counts=[0, 0, 0, 1], reason="412 m³ counted, 538 m³ needed.", lift="the supervisor, by charging bank B",
            value="412 m³", limit="538 m³",
        ),
        "crew": finding(
            "stops", counts=[2, 0, 0, 1], slots=3, filled=[2, 2, 2], roles_short=["inside tender"],
            lifts=[{"person": "T. Wray", "role": "inside tender", "lacks": ["qualification Table 6A drill", "wait"]}],
        ),
        "check": CHECK, "vessel": VESSEL,
    },
    in_the_way=["air", "crew"], ready_from="2026-11-26T16:10Z",
)  # fmt: skip
UNKNOWN = evaluation(
    "Not known", 160,
    {"dump": finding("not known", counts=[0, 0, 1, 0], reason="The dump of seat 3 could not be read at 07:31."), "check": CHECK, "fire": FIRE},
    in_the_way=["dump"], holds_until="2026-12-03T20:20Z",
)  # fmt: skip


def meta(key: str, name: str, party: str, parts: tuple[tuple[str, int], ...] = ()) -> PlanMeta:
    """Return what the pages know about a plan."""
    return PlanMeta(key=key, name=name, party=party, url=f"/why/{key}/", need_names=NAMES, parts=parts)


METAS = (
    (READY, meta("t5", "Table 5", "1 patient, 1 tender")),
    (LIMITED, meta("t6", "Table 6", "1 patient, 1 tender", (("Table", 285), ("2 extensions of 25 min", 50), ("1 extension of 55 min", 55), ("Margin of the house", 30)))),
    (REFUSED, meta("t6a", "Table 6A", "1 patient, 1 tender, stretcher")),
    (UNKNOWN, meta("t9", "Table 9", "3 patients, 1 tender")),
)  # fmt: skip


def rows() -> list[PlanRow]:
    """Return one row of each state."""
    return [plan_row(shape, about, NOW, ZONE) for shape, about in METAS]


def frame() -> dict[str, Any]:
    """Return what base.html prints on each page."""
    site = SimpleNamespace(key="skerrow", name="Skerrow Sound Recompression Facility", zone=ZONE)
    return {
        "visit": SimpleNamespace(site=site),
        "site_now": NOW,
        "last_check": {"at": datetime(2026, 11, 26, 6, 42, tzinfo=UTC), "by": "I. Tamaro"},
        "run_on": None,
        "demo": True,
        "place": "now",
        "caution": "From records only; the supervisor and the physician decide; local codes prevail.",
    }


CALL_FIRST = CallFirst(
    contacts=(
        Contact("Dr R. Holt", "Physician on call", "+00 5550 1401"),
        Contact("Coast rescue centre", "Transport by sea or air", "+00 5550 1402", "day and night"),
        Contact("Harrow Firth Hospital, hyperbaric unit", "Next chamber, 240 km", "+00 5550 1403"),
    ),
    evacuation="Oxygen by mask at the surface. Transport by boat to Harrow Firth; by air only below 300 m. Send the run log and the gas sheet along.",
)


def now_page() -> dict[str, Any]:
    """Return the whole context of the Now page."""
    drawn = rows()
    return frame() | {
        "rows": drawn,
        "sentence": sentence_of(drawn),
        "acts": [{"url": "/checks/", "words": "Start check"}, {"url": "/runs/", "words": "Start run"}],
        "call_first": CALL_FIRST,
        "unsigned_checks": [],
        "open_things": [
            OpenThing("tag", "0147", "Oxygen bank 2, regulator creeps", "out of service since 24 Nov 16:12, D. Achterberg", "2 d", "/defects/1/"),
            OpenThing("open", "", "Weekly check broken off at step 4 of 9", "S. Marlowe, 13:05, called to the phone", "1 h 15", "/checks/9/"),
            OpenThing("second", "", "Oxygen handling, T. Wray: waiting for a second look", "scan of 25 Nov, anyone but T. Wray", "1 d"),
        ],
        "on_call": [
            OnCall("I. Tamaro", "supervisor", datetime(2026, 11, 27, 7, 0, tzinfo=UTC)),
            OnCall("S. Marlowe", "panel operator, inside tender", datetime(2026, 11, 27, 7, 0, tzinfo=UTC)),
            OnCall("P. Nakoa", "inside tender", datetime(2026, 11, 27, 0, 0, tzinfo=UTC), "12 min away"),
        ],
        "gas_rows": [
            GasRow("Oxygen bank 1", "O2", Decimal("47200"), "L", 409, (Demand("Table 6", Decimal("21030"), True), Demand("Table 6A", Decimal("61030"), False))),
            GasRow("Air bank A, north wall behind the compressor", "AIR", Decimal("412000"), "L", 406, (Demand("Table 6A", Decimal("538000"), False),)),
            GasRow("Air bank B", "AIR", None, "L", None, (Demand("Table 6A", Decimal("538000"), None),)),
        ],
    }  # fmt: skip


def why_page(number: int) -> dict[str, Any]:
    """Return the whole context of one Why page."""
    shape, about = METAS[number]
    row = plan_row(shape, about, NOW, ZONE)
    return frame() | {
        "row": row,
        "why": why_of(shape, about, NOW, ZONE),
        "call_first": CALL_FIRST if row.not_ready else None,
    }
