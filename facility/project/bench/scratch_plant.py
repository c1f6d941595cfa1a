"""Equipment, gas, needs, plans and runs of invented facilities."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from facility.gathered import current
from facility.models import Person
from facility.project.bench import scratch as base
from maintenance.models import (
    BankReading,
    Cylinder,
    CylinderAnalysis,
    Defect,
    Equipment,
    GasBank,
    IntervalRule,
    Opening,
    WorkRecord,
)
from treatments.models import Need, NeedMember, Plan, PressureWait, Run

if TYPE_CHECKING:
    from facility.models import Chamber, CheckSheet
    from facility.project.bench.scratch import Size

CYLINDERS = 6
CALIBRATION = "calibration"
CREW = ("panel-operator", "inside-tender", "supervisor")


def plant(chambers: list[Chamber], sheets: list[CheckSheet], size: Size) -> None:
    """Store everything of the plant and what plans rest on."""
    items = base.bulk(
        Equipment(site=chamber.site, chamber=chamber, tag=f"E-{i:03d}", name=f"Item {i}", kind="other")
        for chamber in chambers for i in range(size.items)
    )  # fmt: skip
    _work(items, size)
    _defects(chambers, items, size)
    banks = base.bulk(
        GasBank(site=chamber.site, chamber=chamber, key=key, name=key, gas=gas)
        for chamber in chambers for key, gas in (("oxygen-1", "O2"), ("oxygen-2", "O2"), ("air-1", "AIR"))
    )  # fmt: skip
    _gas(banks, size)
    plans = _plans(chambers, items, banks, sheets, size)
    _runs(chambers, plans, size)


def _work(items: list[Equipment], size: Size) -> None:
    """Test each item monthly and calibrate it yearly."""
    rules = base.bulk(
        IntervalRule(equipment=item, name=name, months=months, source="house rule")
        for item in items for name, months in (("function test", 2), (CALIBRATION, 18))
    )  # fmt: skip
    base.bulk(
        WorkRecord(equipment=rule.equipment, rule=rule, done_on=base.day_before(ago + i % 20), done_by="Bench")
        for i, rule in enumerate(rules)
        for ago in range(0, 30 * size.months, 365 if rule.name == CALIBRATION else 30)
    )  # fmt: skip


def _defects(chambers: list[Chamber], items: list[Equipment], size: Size) -> None:
    """Find four defects a month; all but one of the last are returned."""
    base.bulk(
        Defect(
            site=chamber.site, number=4 * month + i + 1, equipment=items[place * size.items + (month + i) % size.items],
            what="leaks", effect="stops", found_at=base.AT - timedelta(days=30 * month + i + 2),
            returned_at=None if month == i == 0 else base.AT - timedelta(days=30 * month + i + 1),
        )
        for place, chamber in enumerate(chambers) for month in range(size.months) for i in range(4)
    )  # fmt: skip
    base.bulk(
        Opening(chamber=chamber, opened_at=base.AT - timedelta(days=30 * month + 9), work="Seal")
        for chamber in chambers for month in range(size.months)
    )  # fmt: skip


def _gas(banks: list[GasBank], size: Size) -> None:
    """Read each bank daily, analyse each cylinder at each delivery (every two months)."""
    cylinders = base.bulk(
        Cylinder(bank=bank, mark=f"C{i}", water_litres=Decimal(50)) for bank in banks for i in range(CYLINDERS)
    )
    base.bulk(
        CylinderAnalysis(
            cylinder=one, analysed_at=base.AT - timedelta(days=60 * k + 5), result="passed", analysed_by="Bench"
        )
        for one in cylinders for k in range(max(1, size.months // 2))
    )  # fmt: skip
    base.bulk(
        BankReading(
            bank=bank, read_at=base.AT - timedelta(days=day, hours=3), pressure=Decimal(150 + i % 30), unit="bar",
            read_by="Bench",
        )
        for i, bank in enumerate(banks) for day in range(30 * size.months)
    )  # fmt: skip


def _plans(
    chambers: list[Chamber], items: list[Equipment], banks: list[GasBank], sheets: list[CheckSheet], size: Size
) -> list[Plan]:
    """Let each plan rest on every need: k of some items, the banks and the daily check."""
    needs = base.bulk(
        Need(chamber=chamber, key=f"n-{i:02d}", name=f"Need {i}", k=1, gas=("O2", "AIR")[i] if i in (0, 1) else "")
        for chamber in chambers for i in range(size.needs)
    )  # fmt: skip
    members = []
    for place in range(len(chambers)):
        own = needs[place * size.needs : (place + 1) * size.needs]
        members += [NeedMember(need=own[0], bank=bank) for bank in banks[3 * place : 3 * place + 2]]
        members += [NeedMember(need=own[1], bank=banks[3 * place + 2]), NeedMember(need=own[2], sheet=sheets[place])]
        mine = items[place * size.items : (place + 1) * size.items]
        members += [NeedMember(need=own[3 + i % (size.needs - 3)], equipment=item) for i, item in enumerate(mine)]
    base.bulk(members)
    plans = base.bulk(
        Plan(
            chamber=chamber, key=f"plan-{i}", name=f"Table {i}", party="1 patient, 1 tender", place=i, table_min=240 + 20 * i,
            margin_min=30, wait_min=720, approved_by="Bench", in_force_from=base.AT - timedelta(days=999),
            extensions=[{"minutes": 25, "allowed": 2}], roles=[_role(skill) for skill in CREW],
            gas={"O2": {"demand": 6000 + 100 * i, "reserve": 1000}, "AIR": {"demand": 4000, "reserve": 1000}},
        )
        for chamber in chambers for i in range(size.plans)
    )  # fmt: skip
    through = Plan.needs.through
    rests = [
        through(plan_id=plan.pk, need_id=needs[place * size.needs + i].pk)
        for place in range(len(chambers))
        for plan in plans[place * size.plans : (place + 1) * size.plans]
        for i in range(size.needs)
    ]
    through._default_manager.bulk_create(rests, batch_size=2000)
    return plans


def _role(skill: str) -> dict[str, object]:
    return {"role": skill, "count": 1, "qualifications": [skill], "medical": True, "from": 0, "to": None}


def _runs(chambers: list[Chamber], plans: list[Plan], size: Size) -> None:
    """Run the chamber every fifth day; those inside wait half a day."""
    runs = base.bulk(
        Run(
            chamber=chamber, number=number, purpose="training", plan=plans[place * size.plans], started_at=start,
            planned_end_at=start + timedelta(hours=5), ended_at=start + timedelta(hours=5), supervisor="Bench",
        )
        for place, chamber in enumerate(chambers)
        for number in range(1, 6 * size.months + 1)
        for start in (base.AT - timedelta(days=2 + 5 * (6 * size.months - number), hours=9),)
    )  # fmt: skip
    people = {chamber.pk: list(current(Person).filter(site=chamber.site_id)[:2]) for chamber in chambers}
    base.bulk(
        PressureWait(
            person=person, run=run, starts_at=run.started_at, ends_at=run.started_at + timedelta(hours=17)
        )
        for run in runs if run.started_at is not None for person in people[run.chamber_id]
    )  # fmt: skip
