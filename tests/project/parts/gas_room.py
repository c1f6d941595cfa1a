"""Gas: banks, deliveries, samples, and what does not agree."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from facility import services
from facility.access import Act
from facility.models import Site
from maintenance.models import DeliveredCylinder, Delivery, GasSample
from tests import make

PAGES = {
    "maintenance:gas": Act.SEE, "maintenance:cross_checks": Act.SEE, "maintenance:bank": Act.SEE,
    "maintenance:deliveries": Act.SEE, "maintenance:add_delivery": Act.PLANT, "maintenance:delivery": Act.SEE,
    "maintenance:add_delivered": Act.PLANT, "maintenance:delivered": Act.SEE, "maintenance:analyse": Act.PLANT,
    "maintenance:accept": Act.PLANT, "maintenance:refuse": Act.PLANT, "maintenance:hook_up": Act.PLANT,
    "maintenance:samples": Act.SEE, "maintenance:add_sample": Act.PLANT, "maintenance:sample": Act.SEE,
}  # fmt: skip


def rows(site: Site) -> dict[str, Any]:
    """Return one existing thing for each page that asks for one."""
    delivery = services.add(
        Delivery(site=site, gas="O2", supplier="Bergvik Gass", received_at=make.NOON, received_by="Ina Test"),
        by=make.BY,
    )
    cylinder = services.add(DeliveredCylinder(delivery=delivery, mark="BG-1", water_litres=Decimal(50)), by=make.BY)
    sample = services.add(
        GasSample(site=site, gas="AIR", point="bank", taken_at=make.NOON, taken_by="Ina Test", pressure_bar=Decimal(200),
                  laboratory="Luftprov", values={"o2": "20.9"}),
        by=make.BY,
    )  # fmt: skip
    found: dict[str, Any] = {f"maintenance:{name}": delivery for name in ("delivery", "add_delivered")}
    found |= {f"maintenance:{name}": cylinder for name in ("delivered", "analyse", "accept", "refuse", "hook_up")}
    return found | {"maintenance:bank": make.bank(site), "maintenance:sample": sample}
