"""The log of a run."""

from __future__ import annotations

from typing import Any

from facility import services
from facility.access import Act
from facility.models import Site
from tests import make
from treatments.models import LogEntry, LogKind, Plan, Purpose, Run

PAGES = {
    "treatments:log": Act.SEE, "treatments:log_entry": Act.LOG, "treatments:log_since": Act.SEE,
    "treatments:take_over": Act.LOG, "treatments:correct_entry": Act.LOG, "treatments:strike_entry": Act.LOG,
    "treatments:log_paper": Act.SEE, "treatments:key_paper": Act.LOG,
}  # fmt: skip
OF_A_LINE = ("treatments:correct_entry", "treatments:strike_entry")


def rows(site: Site) -> dict[str, Any]:
    """Return a run that is over, and a line of its log."""
    plan = Plan.objects.current().filter(chamber__site=site)[0]
    run = Run(chamber=plan.chamber, number=412, purpose=Purpose.TEST, plan=plan, started_at=make.NOON,
              planned_end_at=make.NOON, ended_at=make.NOON, supervisor="Ina Test")  # fmt: skip
    services.add(run, by=make.BY)
    line = services.add(LogEntry(run=run, kind=LogKind.NOTE, remark="ears clear", occurred_at=make.NOON), by=make.BY)
    of_line = {"pk": run.pk, "entry_pk": line.pk}
    return {name: of_line if name in OF_A_LINE else run for name in PAGES}
