"""A whole Table 6 with one extension at 60 fsw and a change of tender, written line by line as a keeper would.

Minutes are from leaving the surface at 10:00 site time. Descent 3 min; six stretches at 60 fsw (three periods of
20 min on oxygen, each with its 5 min of air, and one more of both); 30 min up; 15 + 60 + 15 + 60 at 30 fsw; 30 min up.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from facility import services
from tests import make
from tests.treatments.test_runs import plan_of
from treatments.compute.table_parts import as_parts
from treatments.models import LogEntry, Run, RunPlace
from treatments.reference import table

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from facility.models import Site
    from treatments.models import Plan

LEFT = datetime(2026, 3, 28, 9, 0, tzinfo=UTC)

#: minute, kind, who (p patient, a first tender, b second tender), depth in fsw, values
LINES: list[tuple[float, str, str, str | None, dict[str, str]]] = [
    (0, "left_surface", "", None, {}),
    (3, "reached_depth", "", "60", {}),
    (3, "oxygen_on", "p", None, {}),
    (13, "reading", "", "60.3", {"o2_percent": "21.4", "co2_percent": "0.6", "temperature_c": "26"}),
    (23, "air_break", "p", None, {}),
    (28, "oxygen_on", "p", None, {}),
    (48, "oxygen_off", "p", None, {}),
    (53, "oxygen_on", "p", None, {}),
    (60, "extension", "", None, {"extension_depth_fsw": "60", "extension_count": "1"}),
    (73, "oxygen_off", "p", None, {}),
    (78, "oxygen_on", "p", None, {}),
    (90, "ventilation", "", None, {"ventilation_acfm": "13"}),
    (98, "oxygen_off", "p", None, {}),
    (103, "left_depth", "", None, {}),
    (103, "oxygen_on", "p", None, {}),
    (118, "reading", "", "45", {}),
    (133, "reached_stop", "", "30", {}),
    (133, "oxygen_off", "p", None, {}),
    (148, "oxygen_on", "p", None, {}),
    (150, "lock_in", "b", None, {}),
    (160, "lock_out", "a", None, {}),
    (208, "oxygen_off", "p", None, {}),
    (223, "oxygen_on", "p", None, {}),
    (240, "reading", "", "29.8", {"o2_percent": "22.0", "co2_percent": "1.6", "temperature_c": "30.5"}),
    (253, "oxygen_on", "b", None, {}),
    (283, "left_stop", "", "30", {}),
    (313, "reached_surface", "", None, {}),
]
END = 313


def run_of(at: Site | None = None, key: str = "TT6", left: datetime | None = LEFT, **fields: Any) -> Run:
    """Return a stored run on a shipped table that left the surface."""
    chamber = make.chamber(at)
    plan: Plan = fields.pop("plan", None) or plan_of(
        chamber, key=key.lower().replace(".", "-") or "without", name=key or "without a table", table=key
    )
    parts = as_parts(table(key)) if key else {}
    given = {
        "chamber": plan.chamber, "number": 1, "purpose": "treatment", "plan": plan, "table_key": key, "table": parts,
        "table_standing": "unconfirmed", "started_at": left, "supervisor": "I. Tamaro",
    }  # fmt: skip
    return services.add(Run(**given | fields), by=make.BY)


def place(run: Run, role: str, label: str, **fields: Any) -> RunPlace:
    """Return somebody in a role of a run, under pressure."""
    return services.add(RunPlace(**{"run": run, "role": role, "label": label, "inside": True} | fields), by=make.BY)


def entry(
    run: Run, minute: float, kind: str, who: RunPlace | None = None, depth: str | None = None, **more: Any
) -> LogEntry:
    """Return a stored line of the log."""
    given = {"depth": None if depth is None else Decimal(depth), "depth_unit": "" if depth is None else "fsw"}
    start = run.started_at or LEFT
    at = start + timedelta(minutes=minute)
    return services.add(LogEntry(run=run, kind=kind, occupant=who, occurred_at=at, **given | more), by=make.BY)


def write(run: Run, people: dict[str, RunPlace], lines: Iterable[Sequence[Any]] = LINES, until: float = END) -> None:
    """Store the lines of a log up to a minute."""
    for minute, kind, who, depth, values in lines:
        if minute <= until:
            entry(run, minute, kind, people.get(who), depth, values=values)


def table_six(until: float = END, left: datetime = LEFT, at: Site | None = None) -> tuple[Run, dict[str, RunPlace]]:
    """Return the run of this module, logged up to a minute."""
    run = run_of(at, left=left)
    people = {
        "p": place(run, "patient", "patient 1"),
        "a": place(run, "tender", "A. Berg", previous_exposure_at=left - timedelta(hours=14)),
        "b": place(run, "tender", "B. Lie", inside=False),
    }
    write(run, people, until=until)
    if until >= END:
        run.ended_at = left + timedelta(minutes=END)
        services.change(run, by=make.BY, reason="reached surface", shown_version=run.row_version)
    return run, people
