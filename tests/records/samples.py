"""For each kind of record: something stored, and what a person would type to add another. Invented."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from facility import services
from facility.models import (
    CheckSheet,
    Contact,
    DutyPeriod,
    Kept,
    MedicalFitness,
    QualificationHeld,
    Site,
    SiteRole,
)
from maintenance.models import BankReading, Counter, Cylinder, CylinderAnalysis, Opening, Supply
from tests import make
from treatments.models import PressureWait

NOON = datetime(2025, 3, 12, 12, 0, tzinfo=UTC)


@dataclass(frozen=True)
class Sample:
    """How to store one row of a kind at a site, what to type for another, and which change to make."""

    stored: Callable[[Site], Kept]
    typed: Callable[[Site], dict[str, Any]]
    changed: tuple[str, str]
    right: str
    wrong: str


def _add(row: Kept) -> Kept:
    return services.add(row, by=make.BY)


def _qualification(site: Site) -> Kept:
    kind = make.qualification_kind(site.organisation)
    return _add(QualificationHeld(person=make.person(site), kind=kind, issued_on=date(2024, 1, 15), number="A1"))


def _cylinder(site: Site) -> Cylinder:
    row = Cylinder(bank=make.bank(site), mark=f"C{next(make._numbers)}", water_litres=Decimal(50))
    return services.add(row, by=make.BY)


SAMPLES: dict[str, Sample] = {
    "organisation": Sample(
        lambda site: site.organisation,
        lambda site: {"key": "another-one", "name": "Another organisation"},
        ("name", "Renamed organisation"), "", SiteRole.DIRECTOR,
    ),
    "site": Sample(
        lambda site: site,
        lambda site: {"key": "second-site", "name": "Second", "organisation": site.organisation_id, "zone": "Europe/Oslo"},
        ("jurisdiction", "The county's code"), "", SiteRole.DIRECTOR,
    ),
    "chamber": Sample(
        make.chamber, lambda site: {"key": "chamber-x", "name": "Chamber X", "kind": "two-lock"},
        ("name", "Chamber renamed"), SiteRole.DIRECTOR, SiteRole.SUPERVISOR,
    ),
    "lock": Sample(
        lambda site: make.lock(make.chamber(site)),
        lambda site: {
            "chamber": make.chamber(site).pk, "key": "outer", "name": "Outer lock", "kind": "outer", "volume": "2,5",
            "volume_unit": "m3", "occupants": "2", "working_pressure": "6", "working_pressure_unit": "bar", "gauge_unit": "fsw",
        },
        ("occupants", "3"), SiteRole.DIRECTOR, SiteRole.MAINTAINER,
    ),
    "person": Sample(
        make.person, lambda site: {"key": "k-lind", "name": "K. Lind", "phone": "", "note": ""},
        ("phone", "555 0199"), SiteRole.SUPERVISOR, SiteRole.MAINTAINER,
    ),
    "qualification-kind": Sample(
        lambda site: make.qualification_kind(site.organisation),
        lambda site: {"key": "panel-operator", "name": "Panel operator"},
        ("name", "Panel operator, second class"), SiteRole.DIRECTOR, SiteRole.SUPERVISOR,
    ),
    "qualification": Sample(
        _qualification,
        lambda site: {
            "person": make.person(site).pk, "kind": make.qualification_kind(site.organisation).pk,
            "issued_on": "14 Mar 2025", "expires_on": "2027-03-13", "number": "77", "issuer": "The school",
        },
        ("number", "78"), SiteRole.SUPERVISOR, SiteRole.OPERATOR,
    ),
    "medical": Sample(
        lambda site: _add(MedicalFitness(
            person=make.person(site), examined_on=date(2025, 1, 15), good_until=date(2026, 1, 14), outcome="fit")),
        lambda site: {
            "person": make.person(site).pk, "examined_on": "15 Jan 2025", "good_until": "14 Jan 2026", "outcome": "fit",
        },
        ("outcome", "unfit"), SiteRole.PHYSICIAN, SiteRole.OPERATOR,
    ),
    "duty": Sample(
        lambda site: _add(DutyPeriod(person=make.person(site), starts_at=NOON, ends_at=datetime(2025, 3, 13, tzinfo=UTC))),
        lambda site: {"person": make.person(site).pk, "starts_at": "13 Mar 2025 08:00", "ends_at": "13 Mar 2025 20:00"},
        ("ends_at", "13 Mar 2025 09:00"), SiteRole.SUPERVISOR, SiteRole.OPERATOR,
    ),
    "contact": Sample(
        lambda site: _add(Contact(site=site, key=f"c{next(make._numbers)}", kind="physician", name="Dr Vale", phone="555 0100")),
        lambda site: {"key": "coast", "kind": "evacuation", "name": "Coast watch", "phone": "555 0111"},
        ("phone", "555 0122"), SiteRole.SUPERVISOR, SiteRole.TENDER,
    ),
    "equipment": Sample(
        make.equipment, lambda site: {"tag": "IL-D9", "name": "Inner-lock depth gauge", "kind": "depth_gauge"},
        ("serial", "4711"), SiteRole.MAINTAINER, SiteRole.TENDER,
    ),
    "rule": Sample(
        lambda site: make.rule(make.equipment(site)),
        lambda site: {
            "equipment": make.equipment(site).pk, "name": "function test", "months": "0", "days": "30", "window_days": "0",
            "counts": "on", "standing": "site",
        },
        ("months", "12"), SiteRole.MAINTAINER, SiteRole.TENDER,
    ),
    "counter": Sample(
        lambda site: _add(Counter(site=site, key=f"hours-{next(make._numbers)}", name="Hours", unit="hours")),
        lambda site: {"key": "cycles-9", "name": "Cycles", "unit": "cycles", "per_run": "1", "per_hour": "0"},
        ("name", "Hours of the compressor"), SiteRole.MAINTAINER, SiteRole.TENDER,
    ),
    "work": Sample(
        lambda site: make.work(make.rule(make.equipment(site)), date(2025, 2, 1)),
        lambda site: {
            "equipment": make.equipment(site).pk, "done_on": "1 Mar 2025", "result": "passed", "done_by": "J. Quill",
        },
        ("note", "as left within limits"), SiteRole.MAINTAINER, SiteRole.TENDER,
    ),
    "bank": Sample(
        make.bank, lambda site: {"key": "air-1", "name": "Air 1", "gas": "AIR", "gauge_unit": "bar", "minimum_pressure": "10"},
        ("minimum_pressure", "12,5"), SiteRole.MAINTAINER, SiteRole.TENDER,
    ),
    "cylinder": Sample(
        _cylinder, lambda site: {"bank": make.bank(site).pk, "mark": "X 12", "water_litres": "50"},
        ("water_litres", "49,6"), SiteRole.MAINTAINER, SiteRole.TENDER,
    ),
    "analysis": Sample(
        lambda site: _add(CylinderAnalysis(cylinder=_cylinder(site), analysed_at=NOON, result="passed", analysed_by="J. Quill")),
        lambda site: {
            "cylinder": _cylinder(site).pk, "analysed_at": "12 Mar 2025 13:00", "result": "passed",
            "oxygen_percent": "99.6", "analysed_by": "J. Quill",
        },
        ("result", "failed"), SiteRole.MAINTAINER, SiteRole.TENDER,
    ),
    "reading": Sample(
        lambda site: _add(BankReading(bank=make.bank(site), read_at=NOON, pressure=Decimal(120), unit="bar", read_by="J. Quill")),
        lambda site: {
            "bank": make.bank(site).pk, "read_at": "12 Mar 2025 13:00", "pressure": "120,5", "unit": "bar",
            "temperature_c": "15", "read_by": "J. Quill",
        },
        ("pressure", "118"), SiteRole.TENDER, SiteRole.INSPECTOR,
    ),
    "supply": Sample(
        lambda site: _add(Supply(site=site, gas="O2", supplier="Bergvik Gass", lead_days=10, weekdays=[2, 5])),
        lambda site: {"gas": "AIR", "supplier": "Bergvik Gass", "lead_days": "14", "weekdays": ["2"]},
        ("supplier", "Fjordgass"), SiteRole.MAINTAINER, SiteRole.TENDER,
    ),
    "opening": Sample(
        lambda site: _add(Opening(chamber=make.chamber(site), opened_at=NOON, work="Viewport seal")),
        lambda site: {"chamber": make.chamber(site).pk, "opened_at": "12 Mar 2025 13:00", "work": "New hinge pin"},
        ("work", "Viewport seal and hinge pin"), SiteRole.MAINTAINER, SiteRole.TENDER,
    ),
    "wait": Sample(
        lambda site: _add(PressureWait(person=make.person(site), starts_at=NOON, ends_at=datetime(2025, 3, 13, tzinfo=UTC))),
        lambda site: {"person": make.person(site).pk, "starts_at": "12 Mar 2025 13:00", "ends_at": "13 Mar 2025 07:00"},
        ("why", "training run"), SiteRole.SUPERVISOR, SiteRole.OPERATOR,
    ),
    "sheet": Sample(
        lambda site: _add(CheckSheet(chamber=make.chamber(site), key="daily", title="Daily", occasion="daily")),
        lambda site: {"chamber": make.chamber(site).pk, "key": "before", "title": "Before each run", "occasion": "before_run"},
        ("title", "Daily walk"), SiteRole.DIRECTOR, SiteRole.SUPERVISOR,
    ),
}  # fmt: skip


def first_account() -> Any:
    """Return the first account, which may do everything."""
    return make.user(is_superuser=True)


def account(site: Site, role: str) -> Any:
    """Return an account with a role at a site; no role: the first account."""
    return make.user(site, role) if role else first_account()
