"""What the people of a site call the things that readiness knows by their keys."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.compute.facts import CREW
from facility.readiness.shut_downs.rows import SHUT_DOWN
from maintenance.readiness import restrictions
from treatments.readiness import IN_USE, IN_USE_TOO

if TYPE_CHECKING:
    from collections.abc import Container

    from facility.compute.instants import Instant
    from facility.models import Chamber
    from facility.readiness.gather import Records
    from facility.readiness.gather_checks import SheetRow
    from facility.readiness.gather_people import PersonRow
    from maintenance.readiness import BankRow, DefectRow, EquipmentRow
    from maintenance.readiness.rule_rows import RuleRow
    from treatments.readiness import NeedRow, PlanRow

Record = dict[str, Any]


class Names:
    """The rows of one chamber by the keys that its facts use."""

    def __init__(self, records: Records, chamber: Chamber) -> None:
        self.records = records
        self.chamber = chamber

    @cached_property
    def needs(self) -> dict[str, NeedRow]:
        """Needs by key."""
        return {row.key: row for row in self.records.needs.values() if row.chamber == self.chamber.pk}

    @cached_property
    def plans(self) -> dict[str, PlanRow]:
        """Plans by key."""
        return {row.key: row for row in self.records.plans_of.get(self.chamber.pk, ())}

    @cached_property
    def people(self) -> dict[str, PersonRow]:
        """The site's people by key."""
        return {row.key: row for row in self.records.people if row.site == self.chamber.site_id}

    @cached_property
    def equipment(self) -> dict[str, EquipmentRow]:
        """The equipment that this chamber rests on, by member id."""
        return {
            name: row for row in self.records.equipment.values() if (name := f"equipment:{row.tag}") in self.members
        }

    @cached_property
    def banks(self) -> dict[str, BankRow]:
        """The gas banks that this chamber rests on, by member id."""
        return {name: row for row in self.records.banks.values() if (name := f"bank:{row.key}") in self.members}

    @cached_property
    def sheets(self) -> dict[str, SheetRow]:
        """The chamber's check sheets by member id."""
        return {f"sheet:{row.key}": row for row in self.records.sheets.values() if row.chamber == self.chamber.pk}

    @property
    def members(self) -> Container[str]:
        """Ids of everything that the chamber's needs name."""
        return self.records.facts[self.chamber].members

    @cached_property
    def need_names(self) -> dict[str, str]:
        """Names of needs by key, with those that every chamber has."""
        return {
            CREW: _("Crew"),
            IN_USE: _("Chamber free"),
            IN_USE_TOO: _("Chamber free"),
            SHUT_DOWN: _("Not shut down"),
        } | {key: row.name for key, row in self.needs.items()}

    def member(self, name: str) -> str:
        """Return what a member is called."""
        if name in self.equipment:
            return f"{self.equipment[name].tag} {self.equipment[name].name}"
        if name in self.banks:
            return self.banks[name].name
        if name in self.sheets:
            return self.sheets[name].title
        return self.chamber.name

    def record(self, name: str) -> Record | None:
        """Return which record a member's state comes from: kind and number, for a link."""
        if name in self.equipment:
            return {"kind": "equipment", "pk": self.equipment[name].pk}
        if name in self.banks:
            return {"kind": "bank", "pk": self.banks[name].pk}
        if name in self.sheets:
            signed = self.sheets[name].signed
            return {"kind": "check", "pk": signed.pk} if signed else {"kind": "sheet", "pk": self.sheets[name].pk}
        if name == SHUT_DOWN:
            return {"kind": "shut down", "pk": 0}
        run = self.records.run_on(self.chamber)
        return {"kind": "run", "pk": run.pk} if run else None

    def defects(self, name: str) -> list[DefectRow]:
        """Return the defects of a member."""
        if name in self.equipment:
            return self.records.equipment_defects.get(self.equipment[name].pk, [])
        if name in self.banks:
            return self.records.bank_defects.get(self.banks[name].pk, [])
        return []

    def rules(self, name: str) -> dict[str, RuleRow]:
        """Return an item's interval rules by act."""
        item = self.equipment.get(name)
        return {rule.name: rule for rule in item.rules} if item else {}

    def restrictions(self, name: str) -> dict[Instant, str]:
        """Return from when an item's rules restrict it, and by which fact."""
        item = self.equipment.get(name)
        return restrictions(item, self.records.setting(self.chamber)) if item else {}

    def qualification(self, key: str) -> str:
        """Return the name of a qualification that somebody at the site holds, else its key."""
        held = (one for person in self.people.values() for one in person.held)
        return next((str(one[1]) for one in held if one[0] == key), key)
