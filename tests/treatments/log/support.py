"""A run on Table 6 with a patient and two tenders, and entries as a device sends them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from facility import events, services
from facility.models import Chamber, Person, Site
from tests import make
from treatments.log.services import Given, Stored, Surface, add_entry
from treatments.models import Plan, Purpose, Run, RunPlace, RunRole
from treatments.opening.services import Opening, open_run
from treatments.services import put_in_force

READY = Surface("Table 6: Ready", ready=True)


@dataclass
class Made:
    """An opened run and its people."""

    run: Run
    site: Site
    patient: RunPlace
    first: RunPlace
    second: RunPlace

    def add(self, kind: str, at: datetime | None = None, **fields: Any) -> Stored:
        """Log one entry as a device does; ``at``: when it happened."""
        defaults = {"client_id": uuid4(), "happened_at": at, "device": "phone", "surface": READY}
        return add_entry(self.run.pk, Given(kind=kind, **defaults | fields), site=self.site, by=make.BY)

    def fresh(self) -> Run:
        """Return the run as stored now."""
        return Run.objects.get(pk=self.run.pk)


def plan_of(chamber: Chamber, **fields: Any) -> Plan:
    """Return a plan in force for Table 6 with one patient and one tender."""
    defaults = {
        "chamber": chamber, "key": "table-6", "name": "Table 6", "party": "1 patient, 1 tender", "table": "TT6",
        "table_min": 288, "margin_min": 30, "wait_min": 720, "extensions": [{"minutes": 25, "allowed": 2}],
        "roles": [{"role": "supervisor"}], "gas": {}, "approved_by": "Dr Vale", "in_force_from": make.NOON,
    }  # fmt: skip
    return put_in_force(Plan(**defaults | fields), [], by=make.BY, reason="test")


def place(run: Run, role: RunRole, label: str, person: Person | None = None) -> RunPlace:
    """Return a stored place of somebody who goes under pressure."""
    return services.add(RunPlace(run=run, role=role, label=label, person=person, inside=True), by=make.BY)


def opened(chamber: Chamber | None = None) -> Made:
    """Return a run on Table 6 that has not left surface, in a chamber good for 6 bar."""
    chamber = chamber or make.chamber()
    make.lock(chamber)
    run = open_run(Opening(plan_of(chamber), Purpose.TREATMENT, "Ina Test"), by=make.BY)
    site = chamber.site
    patient = place(run, RunRole.PATIENT, "patient 1")
    first = place(run, RunRole.TENDER, "P. Nakoa", make.person(site))
    second = place(run, RunRole.TENDER, "S. Marlowe", make.person(site))
    return Made(run, site, patient, first, second)


def started(minutes_ago: float = 60) -> tuple[Made, datetime]:
    """Return a run that left surface, and when."""
    made = opened()
    at = events.now().replace(microsecond=0) - timedelta(minutes=minutes_ago)
    made.add("left_surface", at)
    made.run = made.fresh()
    return made, at
