"""Rows of the worked example, and small builders for what readiness is gathered from."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from facility import services
from facility.models import (
    Chamber,
    Check,
    CheckSheet,
    DutyPeriod,
    MedicalFitness,
    Person,
    QualificationHeld,
    QualificationKind,
    SheetVersion,
)
from maintenance.models import BankReading, Cylinder, CylinderAnalysis, Defect, Equipment, GasBank
from tests import make
from treatments.models import Need, NeedMember, Plan, PressureWait, Run, Waiver

BY = make.BY
T = datetime(2026, 11, 27, 10, 0, tzinfo=UTC)
"""The instant of the worked example: 27 November 2026, 10:00 UTC."""
STEPS = [{"key": "door", "group": "Locks", "kind": "look", "text": "Door seals clean", "effect": "stops"}]
LONG_AGO = datetime(2026, 1, 1, tzinfo=UTC)


def need(chamber: Chamber, key: str, *members: Equipment | GasBank | CheckSheet, **fields: Any) -> Need:
    """Return a stored need with its members."""
    found = services.add(Need(**{"chamber": chamber, "key": key, "name": key.capitalize()} | fields), by=BY)
    for member in members:
        add_member(found, member)
    return found


def add_member(to: Need, member: Equipment | GasBank | CheckSheet) -> NeedMember:
    """Store a member of a need."""
    word = {Equipment: "equipment", GasBank: "bank", CheckSheet: "sheet"}[type(member)]
    return services.add(NeedMember(need=to, **{word: member}), by=BY)


def plan(chamber: Chamber, key: str, *needs: Need, **fields: Any) -> Plan:
    """Return a stored plan of one hour that rests on some needs."""
    defaults = {
        "chamber": chamber, "key": key, "name": key.upper(), "party": "1 patient, 1 tender", "table_min": 60,
        "margin_min": 0, "wait_min": 720, "approved_by": "Ina Test", "in_force_from": LONG_AGO,
    }  # fmt: skip
    found = services.add(Plan(**defaults | fields), by=BY)
    found.needs.set(needs)
    return found


def sheet(chamber: Chamber, **fields: Any) -> CheckSheet:
    """Return a stored daily sheet with one version in force."""
    found = services.add(
        CheckSheet(**{"chamber": chamber, "key": "daily", "title": "Daily check", "occasion": "daily"} | fields), by=BY
    )
    services.add(
        SheetVersion(sheet=found, version=1, steps=STEPS, approved_by="Ina Test", in_force_from=LONG_AGO), by=BY
    )
    return found


def signed(of: CheckSheet, at: datetime, result: str = "passed") -> Check:
    """Return a stored check signed at an instant."""
    return services.add(
        Check(
            sheet=of, version=of.versions.get(), number=of.checks.count() + 1, state="signed", started_at=at,
            started_by="Ina Test", signed_at=at, signed_by="Ina Test", result=result,
        ),
        by=BY,
    )  # fmt: skip


def cylinder(bank: GasBank, *, analysis: str = "passed", water: str = "50", at: datetime = LONG_AGO) -> Cylinder:
    """Return a stored cylinder with an analysis ("": none)."""
    found = services.add(Cylinder(bank=bank, mark=f"C{bank.cylinders.count() + 1}", water_litres=Decimal(water)), by=BY)
    if analysis:
        services.add(CylinderAnalysis(cylinder=found, analysed_at=at, result=analysis, analysed_by="Ina Test"), by=BY)
    return found


def reading(bank: GasBank, at: datetime, pressure: str = "150", **fields: Any) -> BankReading:
    """Return a stored reading of a bank in bar."""
    defaults = {"bank": bank, "read_at": at, "pressure": Decimal(pressure), "unit": "bar", "read_by": "Ina Test"}
    return services.add(BankReading(**defaults | fields), by=BY)


def defect(of: Equipment | GasBank, found_at: datetime, **fields: Any) -> Defect:
    """Return a stored defect that takes its item out of service."""
    word = "bank" if isinstance(of, GasBank) else "equipment"
    number = Defect.objects.filter(site=of.site).count() + 1
    defaults = {"site": of.site, word: of, "what": "leaks", "effect": "stops", "found_at": found_at, "number": number}
    return services.add(Defect(**defaults | fields), by=BY)


def held(who: Person, kind: QualificationKind, expires_on: date | None = None, **fields: Any) -> QualificationHeld:
    """Return a stored qualification, its dates read twice."""
    defaults = {
        "person": who, "kind": kind, "issued_on": date(2026, 1, 1), "expires_on": expires_on, "second_look_by": "Bo",
    }  # fmt: skip
    return services.add(QualificationHeld(**defaults | fields), by=BY)


def medical(who: Person, outcome: str = "fit", **fields: Any) -> MedicalFitness:
    """Return a stored examination, good through 2026 unless said otherwise."""
    defaults = {
        "person": who, "examined_on": date(2026, 1, 10), "good_until": date(2026, 12, 31), "outcome": outcome,
    }  # fmt: skip
    return services.add(MedicalFitness(**defaults | fields), by=BY)


def duty(who: Person, start: datetime, end: datetime) -> DutyPeriod:
    """Return a stored span of duty."""
    return services.add(DutyPeriod(person=who, starts_at=start, ends_at=end), by=BY)


def wait(who: Person, start: datetime, end: datetime) -> PressureWait:
    """Return a stored wait after pressure."""
    return services.add(PressureWait(person=who, starts_at=start, ends_at=end), by=BY)


def run(of: Plan, start: datetime, planned_end: datetime, ended_at: datetime | None = None) -> Run:
    """Return a stored run."""
    return services.add(
        Run(
            chamber=of.chamber, number=of.chamber.runs.count() + 1, purpose="treatment", plan=of, started_at=start,
            planned_end_at=planned_end, ended_at=ended_at, supervisor="Ina Test",
        ),
        by=BY,
    )  # fmt: skip


def waiver(chamber: Chamber, on: Need | None, start: datetime, end: datetime, **fields: Any) -> Waiver:
    """Return a stored waiver."""
    defaults = {
        "chamber": chamber, "need": on, "starts_at": start, "ends_at": end, "why": "no spare", "granted_by": "Ina Test",
    }  # fmt: skip
    return services.add(Waiver(**defaults | fields), by=BY)


def good_gauge(chamber: Chamber, **fields: Any) -> Equipment:
    """Return a depth gauge calibrated every 12 months, last on 1 November 2026."""
    item = make.equipment(chamber.site, **fields)
    make.work(make.rule(item, months=12), date(2026, 11, 1))
    return item


def worked_example() -> Chamber:
    """Store the worked example: gauges end by planned shut-downs, since rows give due days and no hours."""
    place = make.site(zone="UTC", key="skerrow")
    chamber = make.chamber(place, key="chamber-1", name="Chamber 1")
    gauges = [good_gauge(chamber, tag="G1"), good_gauge(chamber, tag="G2"), make.equipment(place, tag="G3")]
    defect(gauges[0], T + timedelta(hours=16), what="planned shut-down")  # 28 Nov 02:00
    defect(gauges[1], T + timedelta(hours=14, minutes=30), what="planned shut-down")  # 28 Nov 00:30
    make.rule(gauges[2], months=12)
    oxygen = make.bank(place, key="oxygen-1", chamber=chamber)
    cylinder(oxygen)
    reading(oxygen, T - timedelta(hours=4))
    daily = sheet(chamber)
    signed(daily, datetime(2026, 11, 26, 18, 0, tzinfo=UTC))
    panel = make.qualification_kind(place.organisation, key="panel-operator")
    tender = make.qualification_kind(place.organisation, key="inside-tender")
    for key, kinds in (("ana", (panel, tender)), ("bo", (tender,))):
        who = make.person(place, key=key, name=key.capitalize())
        for kind in kinds:
            held(who, kind)
        duty(who, T - timedelta(days=7), datetime(2026, 11, 28, 8, 0, tzinfo=UTC))
    plan(
        chamber, "tt6",
        need(chamber, "inner-lock-depth", *gauges), need(chamber, "oxygen", oxygen, gas="O2"),
        need(chamber, "check", daily),
        table_min=288, margin_min=30,
        extensions=[{"minutes": 25, "allowed": 2}, {"minutes": 75, "allowed": 2}],
        roles=[
            {"role": "panel operator", "count": 1, "qualifications": ["panel-operator"], "medical": False, "from": 0, "to": None},
            {"role": "inside tender", "count": 1, "qualifications": ["inside-tender"], "medical": False, "from": 0, "to": None},
        ],
        gas={"O2": {"demand": 6000, "reserve": 1000}},
    )  # fmt: skip
    return chamber
