"""The files about what a run rests on: needs, and plans with their crew and gas."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.access import Act
from facility.imports.cells import CellError, Column, Reading, choice, instant, reference, slug, text, whole, yes_no
from facility.imports.kind import FileKind, copied
from facility.imports.kinds_site import CHAMBER
from facility.imports.parts import PartFile, parts_of
from maintenance.models import Gas
from treatments import services as plan_services
from treatments.models import Need, NeedEffect, NeedMember, Plan

if TYPE_CHECKING:
    from facility.imports.parts import Part
    from facility.models import Kept, Site

_EXTENSION = re.compile(r"(\d{1,2})x(\d{1,4})")
MEMBER_FILES = {"equipment": "equipment.csv", "bank": "banks.csv", "sheet": "sheets.csv"}
MOST_MINUTES = 100_000
MOST_LITRES = 99_999_999


def members(given: str, reading: Reading) -> list[tuple[str, Any]]:
    """Read members such as ``equipment:IL-D1 bank:oxygen-1 sheet:daily``; with a | between them if a tag has a blank."""
    found = []
    for one in (part.strip() for part in (given.split("|") if "|" in given else given.split())):
        kind, colon, name = one.partition(":")
        if not colon or kind not in MEMBER_FILES:
            raise CellError(
                _("holds “%(one)s”, which is not a member") % {"one": one}, "equipment:TAG, bank:KEY, sheet:KEY",
                _("Write the members with blanks between them."),
            )  # fmt: skip
        stored = reference(MEMBER_FILES[kind], *(("chamber",) if kind == "sheet" else ()))(name, reading)
        if (kind, stored) in found:
            raise CellError(_("names %(one)s twice") % {"one": one}, "", _("Name each member once."))
        found.append((kind, stored))
    return found


def needs(given: str, reading: Reading) -> list[Need]:
    """Read keys of needs with blanks between them."""
    find = reference("needs.csv", "chamber")
    return [find(name, reading) for name in given.split()]


def extensions(given: str, _reading: Reading) -> list[dict[str, int]]:
    """Read extensions such as ``2x25 2x75``: how many, and minutes of each."""
    found = []
    for one in given.split():
        parts = _EXTENSION.fullmatch(one)
        if parts is None or int(parts[1]) < 1 or int(parts[2]) < 1:
            raise CellError(
                _("holds “%(one)s”, which is not an extension") % {"one": one}, _("such as 2x25: two of 25 minutes"),
                _("Write all extensions allowed for, with blanks between them."),
            )  # fmt: skip
        found.append({"minutes": int(parts[2]), "allowed": int(parts[1])})
    return found


def table_key(given: str, reading: Reading) -> str:
    """Read the key of a treatment table, shipped or the site's own in force."""
    known = list(plan_services.known_tables(reading.store.site))
    if given not in known:
        raise CellError(
            _("is no treatment table here"), ", ".join(known),
            _("Write the key of a table. One of the site's own must be approved before."),
        )  # fmt: skip
    return given


def qualifications(given: str, reading: Reading) -> list[str]:
    """Read keys of qualifications with blanks between them."""
    find = reference("qualification_kinds.csv")
    return [find(name, reading).key for name in given.split()]


class NeedFile(FileKind):
    file = "needs.csv"
    model = Need
    about = gettext_lazy("What a run rests on, met by at least so many of its members.")
    act = Act.RULES
    key = ("chamber", "key")
    columns = (
        CHAMBER,
        Column("key", slug, gettext_lazy("unique in the chamber"), required=True),
        Column("name", text(150), gettext_lazy("name on the pages"), required=True),
        Column("at_least", whole(1, 99), gettext_lazy("how many members are enough"), required=True),
        Column("members", members, gettext_lazy("equipment:TAG bank:KEY sheet:KEY, blanks between"), required=True,
               stored=False),
        Column("from_min", whole(0, MOST_MINUTES), gettext_lazy("from minute of the run")),
        Column("to_min", whole(0, MOST_MINUTES), gettext_lazy("to minute of the run; empty: to its end")),
        Column("effect", choice(NeedEffect), gettext_lazy("what happens if it is not met"), ", ".join(NeedEffect.values)),
        Column("waivable", yes_no, gettext_lazy("whether it may be waived"), "yes, no"),
        Column("gas", choice(Gas), gettext_lazy("only if its members are gas banks"), ", ".join(Gas.values)),
        Column("source", text(200), gettext_lazy("code, edition and clause")),
        Column("lift", text(200), gettext_lazy("who can lift it")),
    )  # fmt: skip

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(chamber__site=site).select_related("chamber__site")

    def field_of(self, column: str) -> str:
        return "k" if column == "at_least" else column

    def check(self, reading: Reading) -> None:
        banks = [kind == "bank" for kind, _stored in reading.values["members"]]
        if any(banks) and not all(banks):
            raise CellError(
                _("mixes gas banks with other members"), "", _("Make a need of its own for the banks."), "members"
            )
        if any(banks) != bool(reading.values.get("gas")):
            raise CellError(
                _("a need of gas banks, and only that, names its gas"), ", ".join(Gas.values),
                _("Fill the column gas for banks, and leave it empty otherwise."), "gas",
            )  # fmt: skip

    def differences(self, stored: Any, reading: Reading) -> dict[str, tuple[Any, Any]]:
        found = super().differences(stored, reading)
        old = [str(member) for member in self._current(stored)]
        new = [str(one) for _kind, one in reading.values["members"]]
        if sorted(old) != sorted(new):
            found["members"] = (", ".join(old), ", ".join(new))
        return found

    def add(self, reading: Reading) -> Kept:
        need = Need(**self.fields(reading))
        return plan_services.add_need(need, _members(reading), by=reading.store.by)

    def correct(self, stored: Any, changed: dict[str, tuple[Any, Any]], reading: Reading) -> Kept:
        need: Need = self.all_rows().get(pk=stored.pk)
        for name, (_old, new) in changed.items():
            if name != "members":
                setattr(need, self.field_of(name), new)
        return plan_services.change_need(
            need, _members(reading), by=reading.store.by, reason=self.reason, shown_version=need.row_version
        )

    def _current(self, need: Any) -> list[NeedMember]:
        rows: Any = NeedMember.objects.filter(need=need, retired_at=None)
        return list(rows.select_related("equipment", "bank", "sheet"))


def _members(reading: Reading) -> plan_services.Members:
    ids = {kind: tuple(row.pk for of, row in reading.values["members"] if of == kind) for kind in MEMBER_FILES}
    return plan_services.Members(ids["equipment"], ids["bank"], ids["sheet"])


class RoleFile(PartFile):
    file = "plan_roles.csv"
    about = gettext_lazy("The crew of each plan: one line a role.")
    act = Act.RULES
    part_of = "plans.csv"
    of = "plan"
    key = ("chamber", "plan", "role")
    columns = (
        CHAMBER,
        Column("plan", slug, gettext_lazy("key of the plan, as in plans.csv"), required=True),
        Column("role", text(60), gettext_lazy("for example panel operator"), required=True),
        Column("count", whole(1, 20), gettext_lazy("places of this role; empty: 1")),
        Column("qualifications", qualifications, gettext_lazy("keys, blanks between; empty: none demanded")),
        Column("medical", yes_no, gettext_lazy("yes: must be fit for pressure"), "yes, no"),
        Column("from_min", whole(0, MOST_MINUTES), gettext_lazy("from minute of the run")),
        Column("to_min", whole(0, MOST_MINUTES), gettext_lazy("to minute of the run; empty: to its end")),
        Column("emergency_count", whole(0, 20), gettext_lazy("places of it in the emergency crew; empty: none")),
    )


class PlanGasFile(PartFile):
    file = "plan_gas.csv"
    about = gettext_lazy("The gas of each plan, in litres at 15 °C and 1 atm: demand and reserve.")
    act = Act.RULES
    part_of = "plans.csv"
    of = "plan"
    key = ("chamber", "plan", "gas")
    columns = (
        CHAMBER,
        Column("plan", slug, gettext_lazy("key of the plan, as in plans.csv"), required=True),
        Column("gas", choice(Gas), gettext_lazy("gas"), ", ".join(Gas.values), required=True),
        Column(
            "demand", whole(0, MOST_LITRES), gettext_lazy("litres at 15 °C and 1 atm for the whole run"), required=True
        ),
        Column("reserve", whole(0, MOST_LITRES), gettext_lazy("litres kept beside, at 15 °C and 1 atm"), required=True),
    )


PARTS = ("roles", "emergency_roles", "gas")


class PlanFile(FileKind):
    file = "plans.csv"
    model = Plan
    about = gettext_lazy("What a run would demand: the table with its party. Each correction is a new version.")
    act = Act.RULES
    key = ("chamber", "key")
    columns = (
        CHAMBER,
        Column("key", slug, gettext_lazy("unique in the chamber, for example table-6"), required=True),
        Column("name", text(120), gettext_lazy("for example Table 6"), required=True),
        Column("party", text(120), gettext_lazy("for example 1 patient, 1 tender"), required=True),
        Column("place", whole(0, 999), gettext_lazy("place in the list")),
        Column("table_min", whole(1, MOST_MINUTES), gettext_lazy("table with its descent, minutes"), required=True),
        Column("table", table_key, gettext_lazy("key of the treatment table that a run follows, such as TT6")),
        Column("extensions", extensions, gettext_lazy("all allowed for, such as 2x25 2x75")),
        Column("margin_min", whole(0, MOST_MINUTES), gettext_lazy("the house's margin, minutes"), required=True),
        Column(
            "wait_min", whole(0, MOST_MINUTES), gettext_lazy("wait of those inside afterwards, minutes"), required=True
        ),
        Column("needs", needs, gettext_lazy("keys of needs, blanks between"), required=True, stored=False),
        Column("crew_waivable", yes_no, gettext_lazy("whether the crew may be waived"), "yes, no"),
        Column("source", text(200), gettext_lazy("handbook, edition and place of the table")),
        Column("approved_by", text(150), gettext_lazy("who approved it"), required=True),
        Column("in_force_from", instant, gettext_lazy("local time"), required=True),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(chamber__site=site).select_related("chamber__site").prefetch_related("needs")

    def check(self, reading: Reading) -> None:
        owner = (reading.values["chamber"], reading.values["key"])
        roles = parts_of(reading.store, RoleFile.file, owner)
        gas = parts_of(reading.store, PlanGasFile.file, owner)
        if roles:
            reading.values["roles"] = [_role(part) for part in roles]
            if any(part.values.get("emergency_count") for part in roles):
                reading.values["emergency_roles"] = [
                    _role(part) | {"count": count} for part in roles if (count := part.values.get("emergency_count"))
                ]
        if gas:
            reading.values["gas"] = {part.values["gas"]: _demand(part) for part in gas}

    def differences(self, stored: Any, reading: Reading) -> dict[str, tuple[Any, Any]]:
        found = super().differences(stored, reading)
        for name in PARTS:
            if name in reading.values and getattr(stored, name) != reading.values[name]:
                found[name] = (getattr(stored, name), reading.values[name])
        old, new = _keys(stored.needs.all()), _keys(reading.values["needs"])
        if old != new:
            found["needs"] = (" ".join(old), " ".join(new))
        return found

    def beside(self, reading: Reading) -> dict[str, Any]:
        return {name: reading.values[name] for name in PARTS if name in reading.values}

    def add(self, reading: Reading) -> Kept:
        return self._put_in_force(Plan(**self.fields(reading)), None, reading)

    def correct(self, stored: Any, changed: dict[str, tuple[Any, Any]], reading: Reading) -> Kept:
        news = {name: new for name, (_old, new) in changed.items() if name != "needs"}
        return self._put_in_force(Plan(**{**copied(stored), **news}), stored, reading)

    def _put_in_force(self, plan: Plan, old: Plan | None, reading: Reading) -> Plan:
        needs = reading.values["needs"]
        return plan_services.put_in_force(plan, needs, by=reading.store.by, reason=self.reason, old=old)


def _keys(rows: Any) -> list[str]:
    return sorted(row.key for row in rows)


def _role(part: Part) -> dict[str, Any]:
    values = part.values
    return {
        "role": values["role"],
        "count": values.get("count") or 1,
        "qualifications": values.get("qualifications") or [],
        "medical": bool(values.get("medical")),
        "from": values.get("from_min") or 0,
        "to": values.get("to_min"),
    }


def _demand(part: Part) -> dict[str, int]:
    return {name: part.values[name] for name in ("demand", "reserve")}
