"""Builders of a run on a table, lines of its log, and the text of an instrument."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.test import Client

from facility import services
from facility.models import Chamber, User
from tests import make
from tests.treatments.compute.asking import planned
from tests.treatments.compute.records import Flaws, record
from treatments.compute.table_parts import as_parts
from treatments.models import LogEntry, LogKind, Plan, Run, RunPlace, RunRole
from treatments.reference import table
from treatments.services import put_in_force

if TYPE_CHECKING:
    from collections.abc import Mapping

BACKEND = "django.contrib.auth.backends.ModelBackend"


def signed_in(user: User) -> Client:
    client = Client()
    client.force_login(user, backend=BACKEND)
    return client


def run_on(key: str = "TT6", *, of: Chamber | None = None, minutes: int = 288, **fields: Any) -> Run:
    """Return an ended run on a shipped table that left surface at noon."""
    chamber = of or make.chamber()
    plan = put_in_force(
        Plan(chamber=chamber, key=f"plan-{key.lower()}", name=f"Table {key}", party="1 patient, 1 tender", table=key,
             table_min=minutes, margin_min=30, wait_min=720, extensions=[], roles=[{"role": "supervisor"}], gas={},
             approved_by="Dr Vale", in_force_from=make.NOON), [], by=make.BY, reason="test",
    )  # fmt: skip
    defaults = {
        "chamber": chamber, "number": Run.objects.filter(chamber=chamber).count() + 1, "purpose": "treatment", "plan": plan,
        "table_key": key, "table": as_parts(table(key)), "table_standing": "unconfirmed", "opened_at": make.NOON, "started_at": make.NOON,
        "planned_end_at": make.NOON + timedelta(minutes=minutes), "ended_at": make.NOON + timedelta(minutes=minutes),
        "supervisor": "Ina Tamaro",
    }  # fmt: skip
    return services.add(Run(**defaults | fields), by=make.BY)


def place(run: Run, role: RunRole, label: str, **fields: Any) -> RunPlace:
    """Return somebody in a role of a run."""
    return services.add(RunPlace(run=run, role=role, label=label, **fields), by=make.BY)


def entry(run: Run, kind: LogKind, minute: float, depth: str | None = None, **fields: Any) -> LogEntry:
    """Return a line of the log at a minute from leaving the surface, its depth in fsw."""
    assert run.started_at is not None
    at = run.started_at + timedelta(minutes=minute)
    return services.add(
        LogEntry(run=run, kind=kind, occurred_at=at, depth=Decimal(depth) if depth else None,
                 **({"depth_unit": "fsw"} if depth else {}) | fields), by=make.BY,
    )  # fmt: skip


#: table 6 without extension: minutes from leaving the surface (revision 4A; descent 20 fsw/min, ascents 1 fsw/min)
SIX = [
    (LogKind.LEFT_SURFACE, 0, None), (LogKind.REACHED_DEPTH, 3, "60"), (LogKind.LEFT_DEPTH, 78, "60"),
    (LogKind.REACHED_STOP, 108, "30"), (LogKind.LEFT_STOP, 258, "30"), (LogKind.REACHED_SURFACE, 288, None),
]  # fmt: skip


def log_six(run: Run, moved: Mapping[LogKind, float] | None = None) -> list[LogEntry]:
    """Write the log of a table 6; ``moved``: minutes by which lines of a kind are off."""
    shift = moved or {}
    return [entry(run, kind, minute + shift.get(kind, 0), depth) for kind, minute, depth in SIX]


def text_of_six(flaws: Flaws | None = None, head: str = "time s;depth fsw", seed: int = 1) -> str:
    """Return what an instrument writes of a plain table 6."""
    times, depths = record(planned("TT6"), flaws or Flaws(), seed)
    rows = "\n".join(f"{time:g};{depth:.2f}" for time, depth in zip(times, depths, strict=True))
    return f"{head}\n{rows}\n"
