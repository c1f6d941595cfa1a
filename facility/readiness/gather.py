"""From rows to facts: everything that bears on the readiness of some chambers, in two queries."""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

from facility import house
from facility.compute import facts as f
from facility.compute.instants import Instant, instant_of
from facility.gathered import Row, Rows, Scope, branch, by_owner, fetch
from facility.models import Site
from facility.readiness import gather_checks, gather_people
from maintenance import readiness as upkeep
from treatments import readiness as treatment

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from decimal import Decimal

    from facility.models import Chamber

SITE = "site"
AT_ONCE = 500
"""Chambers per query: a limit for the databases' number of parameters, not for the app."""


def gather(chambers: Iterable[Chamber], at: datetime) -> dict[Chamber, f.Facility]:
    """Return the facts of each chamber at ``at``, from the records as they stand now.

    Seconds are cut off: ``at`` is floored to the minute in what follows from it.
    """
    wanted = list(chambers)
    found: dict[Chamber, f.Facility] = {}
    for begin in range(0, len(wanted), AT_ONCE):
        records = Records(wanted[begin : begin + AT_ONCE], at)
        found |= {chamber: records.facility(chamber) for chamber in records.chambers}
    return found


class Records:
    """The rows of some chambers at one instant, fetched once; facts and names are made from them."""

    def __init__(self, chambers: list[Chamber], at: datetime) -> None:
        self.chambers = chambers
        self.moment = at
        self.at: Instant = instant_of(at)
        sites = tuple(sorted({chamber.site_id for chamber in chambers}))
        self.rules = house.values_of(sites)
        self.rows: Rows = fetch_rows(scope_of(chambers, at, self.rules))
        self.zones: dict[int, str] = {row[0]: row[1] for row in self.rows[SITE]}
        self._index()

    def _index(self) -> None:
        """Put rows under their owners."""
        rows = self.rows
        self.equipment: dict[int, Row] = {row[0]: row for row in rows[upkeep.EQUIPMENT]}
        self.banks: dict[int, Row] = {row[0]: row for row in rows[upkeep.BANK]}
        self.sheets: dict[int, Row] = {row[1]: row for row in rows[gather_checks.SHEET]}
        self.rules_of = by_owner(rows[upkeep.RULE])
        self.cylinders_of = by_owner(rows[upkeep.CYLINDER])
        self.equipment_defects = by_owner(rows[upkeep.DEFECT])
        self.bank_defects = by_owner(rows[upkeep.DEFECT], 1)
        self.members_of = by_owner(rows[treatment.MEMBER])
        self.rests_of = by_owner(rows[treatment.RESTS])
        self.plans_of = by_owner(rows[treatment.PLAN])
        self.needs: dict[int, Row] = {row[1]: row for row in rows[treatment.NEED]}
        self.waivers_of = by_owner(rows[treatment.WAIVER])
        self.runs_of = by_owner(rows[treatment.RUN])
        self.openings_of = by_owner(rows[upkeep.OPENING])
        self.bank_use = treatment.bank_use(rows[treatment.RUN], rows[treatment.BREATHES], self.at)
        self._people: dict[int, dict[str, f.Person]] | None = None
        self._roster: dict[int, Instant] = {}

    def setting(self, chamber: Chamber) -> upkeep.Setting:
        """Return what a chamber's rows are read with."""
        return upkeep.Setting(
            zone=self.zones[chamber.site_id],
            at=self.at,
            window_keeps_good=bool(self.rule(chamber, "window_keeps_good")),
            plans=frozenset(row[2] for row in self.plans_of.get(chamber.pk, ())),
        )

    def rule(self, chamber: Chamber, key: str) -> int:
        """Return a house rule of the chamber's site as a whole number."""
        return int(self.rules[chamber.site_id][key])

    def run_on(self, chamber: Chamber) -> Row | None:
        """Return the run that is on in a chamber."""
        return treatment.open_run(self.runs_of.get(chamber.pk, ()), self.at)

    def facility(self, chamber: Chamber) -> f.Facility:
        """Return the facts of one chamber."""
        needs: dict[str, f.Need] = {}
        members: dict[str, f.Member] = {}
        setting = self.setting(chamber)
        plan_rows = sorted(self.plans_of.get(chamber.pk, ()), key=lambda row: (row[5], row[2]))
        needed = {
            plan[1]: sorted(
                (self.needs[need_id] for _, need_id in self.rests_of.get(plan[1], ()) if need_id in self.needs),
                key=lambda row: str(row[2]),
            )
            for plan in plan_rows
        }
        for row in {row[1]: row for rows in needed.values() for row in rows}.values():
            needs[row[2]] = treatment.need_facts(row, self._members(row, setting, chamber, members))
        run = self.run_on(chamber)
        always: tuple[str, ...] = ()
        if run is not None:
            always = (treatment.IN_USE,)
            needs[treatment.IN_USE], members[treatment.IN_USE] = treatment.in_use_facts(
                run, self.at, self.rule(chamber, "turn_round_min")
            )
        plans = {
            row[2]: treatment.plan_facts(row, (*always, *(need[2] for need in needed[row[1]]))) for row in plan_rows
        }
        return self._facility(chamber, members, needs, plans)

    def _facility(
        self, chamber: Chamber, members: dict[str, f.Member], needs: dict[str, f.Need], plans: dict[str, f.Plan]
    ) -> f.Facility:
        known = {row[1]: row[2] for row in self.needs.values() if row[0] == chamber.pk and row[2] in needs}
        waivers = [
            treatment.waiver_facts(row, known, plans)
            for row in sorted(self.waivers_of.get(chamber.pk, ()), key=lambda row: int(row[2]))
        ]
        people = self.people(chamber.site_id)
        return f.Facility(
            zone=self.zones[chamber.site_id],
            roster_until=self._roster[chamber.site_id],
            age_limit_min=f.AgeLimits(self.rule(chamber, "bank_age_min"), self.rule(chamber, "check_age_min")),
            members=members,
            people=people,
            needs=needs,
            plans=plans,
            waivers=tuple(one for one in waivers if one is not None),
        )

    def _members(self, need: Row, setting: upkeep.Setting, chamber: Chamber, members: dict[str, f.Member]) -> list[str]:
        """Add the facts of a need's members and return their ids; what no longer counts is left out."""
        found: list[str] = []
        for _, equipment_id, bank_id, sheet_id in self.members_of.get(need[1], ()):
            if bank_id in self.banks:
                name = f"bank:{self.banks[bank_id][1]}"
                make: Callable[[], f.Member] = partial(self._bank, bank_id, setting)
            elif need[9]:
                continue  # a need of gas is met by banks only
            elif equipment_id in self.equipment:
                name = f"equipment:{self.equipment[equipment_id][1]}"
                make = partial(self._equipment, equipment_id, setting)
            elif sheet_id in self.sheets:
                name = f"sheet:{self.sheets[sheet_id][2]}"
                make = partial(self._check, sheet_id, chamber)
            else:
                continue
            found.append(name)
            if name not in members:
                members[name] = make()
        return found

    def _check(self, sheet_id: int, chamber: Chamber) -> f.Check:
        return gather_checks.check_facts(self.sheets[sheet_id], self.opened(chamber))

    def opened(self, chamber: Chamber) -> tuple[Instant, ...]:
        """Return when the chamber was opened for work, and when its last runs ended."""
        ends = treatment.run_ends(self.runs_of.get(chamber.pk, ()), self.at)
        return (*upkeep.opening_facts(self.openings_of.get(chamber.pk, ())), *ends)

    def _bank(self, bank_id: int, setting: upkeep.Setting) -> f.Bank:
        cylinders = sorted(self.cylinders_of.get(bank_id, ()), key=lambda row: str(row[2]))
        defects = self.bank_defects.get(bank_id, ())
        return upkeep.bank_facts(self.banks[bank_id], cylinders, defects, setting, used_at=self.bank_use.get(bank_id))

    def _equipment(self, equipment_id: int, setting: upkeep.Setting) -> f.Equipment:
        return upkeep.equipment_facts(
            self.equipment[equipment_id],
            self.rules_of.get(equipment_id, ()),
            self.equipment_defects.get(equipment_id, ()),
            setting,
        )

    def people(self, site_id: int) -> dict[str, f.Person]:
        """Return the people of a site as facts, worked out once for all its chambers."""
        if self._people is None:
            self._people = gather_people.people_of_sites(self.rows, self.zones)
            self._roster = gather_people.roster_ends(self.rows, self.zones, self.at)
        return self._people[site_id]


def scope_of(chambers: list[Chamber], at: datetime, rules: dict[int, dict[str, Decimal]]) -> Scope:
    """Return what to ask the database for."""
    oldest = max((max(one["bank_age_min"], one["check_age_min"]) for one in rules.values()), default=0)
    return Scope(
        chambers=tuple(chamber.pk for chamber in chambers),
        sites=tuple(rules),
        at=at.astimezone(UTC),
        since=at.astimezone(UTC) - timedelta(minutes=int(oldest) + 1),
    )


def branches(scope: Scope) -> list[Any]:
    """Return the rows of every app that readiness rests on."""
    return [
        branch(SITE, Site.objects.filter(pk__in=scope.sites), "pk", "zone", "key"),
        *upkeep.branches(scope),
        *treatment.branches(scope),
        *gather_people.branches(scope),
        *gather_checks.branches(scope),
    ]


def fetch_rows(scope: Scope) -> Rows:
    """Fetch all rows of a scope in one query."""
    return fetch(branches(scope)) if scope.chambers else defaultdict(list)
