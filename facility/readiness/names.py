"""What the people of a site call the things that readiness knows by their keys."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.compute.facts import CREW
from treatments.readiness import IN_USE

if TYPE_CHECKING:
    from facility.gathered import Row
    from facility.models import Chamber
    from facility.readiness.gather import Records

Record = dict[str, Any]


class Names:
    """The rows of one chamber by the keys that its facts use."""

    def __init__(self, records: Records, chamber: Chamber) -> None:
        self.records = records
        self.chamber = chamber

    @cached_property
    def needs(self) -> dict[str, Row]:
        """Rows of needs by key."""
        return {row[2]: row for row in self.records.needs.values() if row[0] == self.chamber.pk}

    @cached_property
    def plans(self) -> dict[str, Row]:
        """Rows of plans by key."""
        return {row[2]: row for row in self.records.plans_of.get(self.chamber.pk, ())}

    @cached_property
    def people(self) -> dict[str, Row]:
        """Rows of the site's people by key."""
        return {row[2]: row for row in self.records.rows["person"] if row[0] == self.chamber.site_id}

    @cached_property
    def equipment(self) -> dict[str, Row]:
        """Rows of equipment by member id."""
        return {f"equipment:{row[1]}": row for row in self.records.equipment.values()}

    @cached_property
    def banks(self) -> dict[str, Row]:
        """Rows of gas banks by member id."""
        return {f"bank:{row[1]}": row for row in self.records.banks.values()}

    @cached_property
    def sheets(self) -> dict[str, Row]:
        """Rows of check sheets by member id."""
        return {f"sheet:{row[2]}": row for row in self.records.sheets.values() if row[0] == self.chamber.pk}

    @cached_property
    def need_names(self) -> dict[str, str]:
        """Names of needs by key, with those that every chamber has."""
        return {CREW: _("Crew"), IN_USE: _("Chamber free")} | {key: row[3] for key, row in self.needs.items()}

    def member(self, name: str) -> str:
        """Return what a member is called."""
        if name in self.equipment:
            return f"{self.equipment[name][1]} {self.equipment[name][2]}"
        if name in self.banks:
            return str(self.banks[name][2])
        if name in self.sheets:
            return str(self.sheets[name][3])
        return str(self.chamber.name)

    def record(self, name: str) -> Record | None:
        """Return which record a member's state comes from: kind and number, for a link."""
        if name in self.equipment:
            return {"kind": "equipment", "pk": self.equipment[name][0]}
        if name in self.banks:
            return {"kind": "bank", "pk": self.banks[name][0]}
        if name in self.sheets:
            signed = self.sheets[name][5]
            return (
                {"kind": "sheet", "pk": self.sheets[name][1]} if signed is None else {"kind": "check", "pk": signed[0]}
            )
        run = self.records.run_on(self.chamber)
        return {"kind": "run", "pk": run[1]} if name == IN_USE and run is not None else None

    def defects(self, name: str) -> list[Row]:
        """Return the rows of the defects of a member."""
        if name in self.equipment:
            return self.records.equipment_defects.get(self.equipment[name][0], [])
        if name in self.banks:
            return self.records.bank_defects.get(self.banks[name][0], [])
        return []

    def rules(self, name: str) -> dict[str, Row]:
        """Return the rows of an item's interval rules by act."""
        item = self.equipment.get(name)
        return {row[2]: row for row in self.records.rules_of.get(item[0], ())} if item else {}

    def qualification(self, key: str) -> str:
        """Return the name of a qualification that somebody at the site holds, else its key."""
        return next((str(row[2]) for row in self.records.rows["held"] if row[1] == key), key)
