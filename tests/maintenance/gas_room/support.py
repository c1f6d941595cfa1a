"""Builders for the gas room: an analyser in date, a delivery, a cylinder in quarantine."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.test import Client

from facility import events, services
from facility.models import HouseRule, Site, SiteRole, User
from maintenance.gas_room import services as gas_room
from maintenance.gas_room.services import Analysis
from maintenance.models import DeliveredCylinder, Delivery, Equipment, EquipmentKind, IntervalRule
from tests import make

BACKEND = "django.contrib.auth.backends.ModelBackend"
NAVY, EUROPE, EN_12021 = 6, 7, 1


def now() -> datetime:
    """Return the present, to the minute."""
    return events.now().replace(second=0, microsecond=0)


def adopt(site: Site, key: str, number: int) -> None:
    """Let the house adopt a limit set, or set another rule."""
    services.add(
        HouseRule(site=site, key=key, value=Decimal(number), version=1, approved_by="Ina Test", in_force_from=now()),
        by=make.BY,
    )  # fmt: skip


def analyser(site: Site, *, days_ago: int | None = 10, months: int = 6) -> Equipment:
    """Return an analyser under a rule; calibrated so many days ago, or never."""
    item = make.equipment(site, kind=EquipmentKind.ANALYSER, name="Oxygen analyser")
    rule = make.rule(item, months=months)
    if days_ago is not None:
        make.work(rule, (now() - timedelta(days=days_ago)).date())
    return item


def rule_of(item: Equipment) -> IntervalRule:
    """Return the rule of an item."""
    found: IntervalRule = item.rules.get()
    return found


def delivered(site: Site, gas: str = "O2", **fields: Any) -> DeliveredCylinder:
    """Return a cylinder of 50 L in quarantine."""
    delivery = gas_room.add_delivery(
        Delivery(site=site, gas=gas, supplier="Bergvik Gass", note_number="N-7", received_at=now() - timedelta(hours=3),
                 received_by="Ina Test"),
        by=make.BY,
    )  # fmt: skip
    shown = {"delivery": delivery, "mark": "BG-9001", "water_litres": Decimal(50)}
    return gas_room.add_delivered(DeliveredCylinder(**shown | fields), by=make.BY)


def analysis(with_analyser: Equipment | None, oxygen: str, **fields: Any) -> Analysis:
    """Return an analysis of a cylinder at 200 bar and 15 degC."""
    shown: dict[str, Any] = {
        "at": now() - timedelta(minutes=30), "by": "Ina Test", "analyser": with_analyser, "pressure": Decimal(200),
        "unit": "bar", "pressure_bar": Decimal(200), "temperature_c": Decimal(15), "values": {"o2": Decimal(oxygen)},
    }  # fmt: skip
    return Analysis(**shown | fields)


def client_of(user: User) -> Client:
    """Return a client in which ``user`` is signed in."""
    client = Client()
    client.force_login(user, backend=BACKEND)
    return client


def operator_of(site: Site) -> Client:
    """Return a client of somebody who may keep the plant."""
    return client_of(make.user(site, SiteRole.OPERATOR))
