"""Builders of stored things: only required fields have no default. Each goes through its service."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from itertools import count
from typing import Any

from facility import events, services
from facility.models import (
    Chamber,
    CheckSheet,
    Lock,
    Membership,
    Organisation,
    Person,
    QualificationKind,
    SheetVersion,
    Site,
    SiteRole,
    User,
)
from maintenance.models import Equipment, EquipmentKind, GasBank, IntervalRule, WorkRecord

BY = events.system("test")
PASSWORD = "a long enough password"  # of test accounts only
_numbers = count(1)

#: the fixed day of tests that need one
DAY = date(2026, 3, 12)
NOON = datetime(2026, 3, 12, 12, 0, tzinfo=UTC)


def organisation(**fields: Any) -> Organisation:
    """Return a stored organisation."""
    number = next(_numbers)
    return services.add(Organisation(**{"key": f"org-{number}", "name": f"Organisation {number}"} | fields), by=BY)


def site(**fields: Any) -> Site:
    """Return a stored site in Europe/Oslo."""
    number = next(_numbers)
    fields.setdefault("organisation", None)
    if fields["organisation"] is None:
        fields["organisation"] = organisation()
    return services.add(
        Site(**{"key": f"site-{number}", "name": f"Site {number}", "zone": "Europe/Oslo"} | fields), by=BY
    )


def chamber(at: Site | None = None, **fields: Any) -> Chamber:
    """Return a stored chamber."""
    number = next(_numbers)
    return services.add(
        Chamber(**{"site": at or site(), "key": f"chamber-{number}", "name": f"Chamber {number}"} | fields), by=BY
    )


def lock(of: Chamber | None = None, **fields: Any) -> Lock:
    """Return a stored inner lock of 8 m3, working pressure 6 bar gauge."""
    defaults = {
        "chamber": of or chamber(), "key": f"lock-{next(_numbers)}", "name": "Inner lock", "kind": "inner",
        "volume": Decimal(8), "volume_unit": "m3", "occupants": 4, "working_pressure": Decimal(6),
        "working_pressure_unit": "bar",
    }  # fmt: skip
    return services.add(Lock(**defaults | fields), by=BY)


def user(at: Site | None = None, *roles: str, **fields: Any) -> User:
    """Return a stored account with these roles at a site; its password is PASSWORD."""
    number = next(_numbers)
    account = User(**{"username": f"user{number}", "first_name": "Ina", "last_name": f"Test{number}"} | fields)
    account.set_password(PASSWORD)
    account.save()
    for role in roles:
        services.add(Membership(user=account, site=at or site(), role=role), by=BY)
    return account


def supervisor(at: Site) -> User:
    """Return a supervisor of a site."""
    return user(at, SiteRole.SUPERVISOR)


def person(at: Site | None = None, **fields: Any) -> Person:
    """Return a stored person of the crew."""
    number = next(_numbers)
    return services.add(
        Person(**{"site": at or site(), "key": f"person-{number}", "name": f"Person {number}"} | fields), by=BY
    )


def qualification_kind(of: Organisation, **fields: Any) -> QualificationKind:
    """Return a stored kind of qualification."""
    number = next(_numbers)
    return services.add(
        QualificationKind(**{"organisation": of, "key": f"kind-{number}", "name": f"Kind {number}"} | fields), by=BY
    )


def equipment(at: Site | None = None, **fields: Any) -> Equipment:
    """Return a stored depth gauge."""
    number = next(_numbers)
    defaults = {
        "site": at or site(), "tag": f"DG-{number}", "name": "Depth gauge", "kind": EquipmentKind.DEPTH_GAUGE,
    }  # fmt: skip
    return services.add(Equipment(**defaults | fields), by=BY)


def rule(of: Equipment | None = None, **fields: Any) -> IntervalRule:
    """Return a stored rule: calibration every 6 months."""
    return services.add(
        IntervalRule(**{"equipment": of or equipment(), "name": "calibration", "months": 6} | fields), by=BY
    )


def work(under: IntervalRule, done_on: date, **fields: Any) -> WorkRecord:
    """Return a stored act done under a rule."""
    defaults = {"equipment": under.equipment, "rule": under, "done_on": done_on, "done_by": "Ina Test"}
    return services.add(WorkRecord(**defaults | fields), by=BY)


def bank(at: Site | None = None, **fields: Any) -> GasBank:
    """Return a stored oxygen bank."""
    number = next(_numbers)
    return services.add(
        GasBank(**{"site": at or site(), "key": f"bank-{number}", "name": f"Bank {number}", "gas": "O2"} | fields),
        by=BY,
    )


#: one step of each kind, two groups
STEPS: list[dict[str, Any]] = [
    {"key": "door", "group": "Doors", "kind": "look", "text": "Door seal sound", "effect": "limits"},
    {"key": "supply", "group": "Doors", "kind": "reading", "text": "Oxygen supply", "unit": "bar", "low": "7.5", "high": "9.0"},
    {"key": "speech", "group": "Inside", "kind": "two_person", "text": "Speech understood"},
    {"key": "place", "group": "Inside", "kind": "choice", "text": "Place 1", "choices": ["nothing", "found"], "good": ["nothing"]},
]  # fmt: skip


def sheet(of: Chamber | None = None, steps: list[dict[str, Any]] | None = None, **fields: Any) -> CheckSheet:
    """Return a stored daily sheet with version 1 in force."""
    number = next(_numbers)
    stored = services.add(
        CheckSheet(
            **{"chamber": of or chamber(), "key": f"sheet-{number}", "title": f"Sheet {number}", "occasion": "daily"}
            | fields
        ),
        by=BY,
    )
    version = SheetVersion(
        sheet=stored,
        version=1,
        steps=STEPS if steps is None else steps,
        approved_by="Ina Test",
        in_force_from=events.now(),
    )
    services.add(version, by=BY)
    return stored
