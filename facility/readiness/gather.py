"""From rows to facts: everything that bears on the readiness of some chambers, in two queries."""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, datetime, timedelta
from functools import partial
from operator import attrgetter
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from facility import house
from facility.compute import facts as f
from facility.compute.instants import Instant, instant_of
from facility.gathered import Rows, Scope, branch, collector_paused, fetch, grouped
from facility.models import Site
from facility.readiness import gather_checks, gather_people
from facility.readiness.shut_downs import rows as shut
from maintenance import readiness as upkeep
from treatments import readiness as treatment

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from decimal import Decimal

    from facility.models import Chamber

SITE = "site"
AT_ONCE = 100
"""Chambers per query, so that memory does not grow with their number."""


def gather(chambers: Iterable[Chamber], at: datetime) -> dict[Chamber, f.Facility]:
    """Return the facts of each chamber at ``at``, from the records as they stand now.

    Seconds are cut off: ``at`` is floored to the minute in what follows from it.
    """
    return {chamber: facts for records in in_parts(chambers, at) for chamber, facts in records.facts.items()}


def in_parts(chambers: Iterable[Chamber], at: datetime) -> Iterator[Records]:
    """Yield the rows of some chambers after the other; two queries each."""
    wanted = list(chambers)
    for begin in range(0, len(wanted), AT_ONCE):
        yield Records(wanted[begin : begin + AT_ONCE], at)


class Records:
    """The rows of some chambers at one instant, fetched once; facts and names are made from them."""

    def __init__(self, chambers: list[Chamber], at: datetime) -> None:
        self.chambers = chambers
        self.moment = at
        self.at: Instant = instant_of(at)
        sites = tuple(sorted({chamber.site_id for chamber in chambers}))
        self.rules = house.values_of(sites)
        with collector_paused():
            self.rows = fetch_rows(scope_of(chambers, at, self.rules))
            self.zones: dict[int, str] = {row[0]: row[1] for row in self.rows[SITE]}
            self._index()
            self.tired = gather_people.tired_people(self.people, self.duty_of, self.rules, self.at)
            self._people = gather_people.people_of_sites(self.people, self.duty_of, self.zones, self.at, self.tired)
            self.facts = {chamber: self._facts(chamber) for chamber in chambers}

    def _index(self) -> None:
        """Put rows under their owners."""
        rows = self.rows
        self.equipment = {row.pk: row for row in map(upkeep.EquipmentRow._make, rows[upkeep.EQUIPMENT])}
        self.banks = {row.pk: row for row in map(upkeep.BankRow._make, rows[upkeep.BANK])}
        self.sheets = {row.pk: row for row in map(gather_checks.SheetRow._make, rows[gather_checks.SHEET])}
        self.needs = {row.pk: row for row in map(treatment.NeedRow._make, rows[treatment.NEED])}
        self.people = sorted(map(gather_people.PersonRow._make, rows[gather_people.PERSON]), key=attrgetter("key"))
        self.duty_of = grouped(rows[gather_people.DUTY], lambda row: row[0])
        defects = [upkeep.DefectRow._make(row) for row in rows[upkeep.DEFECT]]
        self.equipment_defects = grouped(defects, lambda row: row.equipment)
        self.bank_defects = grouped(defects, lambda row: row.bank)
        self.plans_of = grouped(map(treatment.PlanRow._make, rows[treatment.PLAN]), lambda row: row.chamber)
        self.waivers_of = grouped(map(treatment.WaiverRow._make, rows[treatment.WAIVER]), lambda row: row.chamber)
        runs = [treatment.RunRow._make(row) for row in rows[treatment.RUN]]
        self.runs_of = grouped(runs, lambda row: row.chamber)
        self.shut_of = grouped(map(shut.ShutRow._make, rows[shut.SHUT]), lambda row: row.chamber)
        self.openings_of = grouped(rows[upkeep.OPENING], lambda row: row[0])
        self.bank_use = treatment.bank_use(runs, self.at)

    def setting(self, chamber: Chamber) -> upkeep.Setting:
        """Return what a chamber's rows are read with."""
        zone = self.zones[chamber.site_id]
        return upkeep.Setting(
            zone=zone,
            today=self.moment.astimezone(ZoneInfo(zone)).date().isoformat(),
            window_keeps_good=bool(self.rule(chamber, "window_keeps_good")),
            plans=frozenset(row.key for row in self.plans_of.get(chamber.pk, ())),
        )

    def rule(self, chamber: Chamber, key: str) -> int:
        """Return a house rule of the chamber's site as a whole number."""
        return int(self.rules[chamber.site_id][key])

    def run_on(self, chamber: Chamber) -> treatment.RunRow | None:
        """Return the run that is on in a chamber."""
        return treatment.open_run(self.runs_of.get(chamber.pk, ()), self.at)

    def _facts(self, chamber: Chamber) -> f.Facility:
        needs: dict[str, f.Need] = {}
        members: dict[str, f.Member] = {}
        setting = self.setting(chamber)
        plan_rows = sorted(self.plans_of.get(chamber.pk, ()), key=attrgetter("place", "key"))
        rests = {plan.key: self._rests_on(plan) for plan in plan_rows}
        for need in {row.pk: row for rows in rests.values() for row in rows}.values():
            needs[need.key] = treatment.need_facts(need, self._members(need, setting, chamber, members))
        always = (*self._in_use(chamber, needs, members), *self._shut(chamber, needs, members))
        plans = {
            plan.key: treatment.plan_facts(plan, (*always, *(need.key for need in rests[plan.key])))
            for plan in plan_rows
        }
        people = self._people[chamber.site_id]
        return f.Facility(
            zone=setting.zone,
            roster_until=gather_people.roster_end(people, self.at),
            age_limit_min=f.AgeLimits(self.rule(chamber, "bank_age_min"), self.rule(chamber, "check_age_min")),
            members=members,
            people=people,
            needs=needs,
            plans=plans,
            waivers=self._waivers(chamber, needs, plans),
        )

    def _rests_on(self, plan: treatment.PlanRow) -> list[treatment.NeedRow]:
        needs = [self.needs[pk] for (pk,) in plan.needs if pk in self.needs]
        needs.sort(key=attrgetter("key"))
        return needs

    def _in_use(self, chamber: Chamber, needs: dict[str, f.Need], members: dict[str, f.Member]) -> tuple[str, ...]:
        """Add the need that the chamber be free, while a run is on."""
        run = self.run_on(chamber)
        if run is None:
            return ()
        name = treatment.IN_USE_TOO if treatment.IN_USE in needs else treatment.IN_USE
        turn_round = self.rule(chamber, "turn_round_min")
        needs[name], members[treatment.IN_USE] = treatment.in_use_facts(run, self.at, turn_round)
        return (name,)

    def _shut(self, chamber: Chamber, needs: dict[str, f.Need], members: dict[str, f.Member]) -> tuple[str, ...]:
        """Add the need that the chamber be not shut, while a shut-down is on or ahead."""
        rows = self.shut_of.get(chamber.pk, ())
        if not rows:
            return ()
        needs[shut.SHUT_DOWN], members[shut.SHUT_DOWN] = shut.shut_facts(rows, self.at)
        return (shut.SHUT_DOWN,)

    def _waivers(self, chamber: Chamber, needs: dict[str, f.Need], plans: dict[str, f.Plan]) -> tuple[f.Waiver, ...]:
        rows = sorted(self.waivers_of.get(chamber.pk, ()), key=attrgetter("pk"))
        if not rows:
            return ()
        known = {row.pk: row.key for row in self.needs.values() if row.chamber == chamber.pk and row.key in needs}
        found = [treatment.waiver_facts(row, known, plans) for row in rows]
        return tuple(one for one in found if one is not None)

    def _members(
        self, need: treatment.NeedRow, setting: upkeep.Setting, chamber: Chamber, members: dict[str, f.Member]
    ) -> list[str]:
        """Add the facts of a need's members and return their ids; what no longer counts is left out."""
        found: list[str] = []
        for equipment_id, bank_id, sheet_id in need.members:
            if bank_id in self.banks:
                name = f"bank:{self.banks[bank_id].key}"
                make: Callable[[], f.Member] = partial(self._bank, bank_id, setting)
            elif need.gas:
                continue  # a need of gas is met by banks only
            elif equipment_id in self.equipment:
                name = f"equipment:{self.equipment[equipment_id].tag}"
                make = partial(self._equipment, equipment_id, setting)
            elif sheet_id in self.sheets:
                name = f"sheet:{self.sheets[sheet_id].key}"
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
        defects = self.bank_defects.get(bank_id, ())
        return upkeep.bank_facts(self.banks[bank_id], defects, setting, used_at=self.bank_use.get(bank_id))

    def _equipment(self, equipment_id: int, setting: upkeep.Setting) -> f.Equipment:
        defects = self.equipment_defects.get(equipment_id, ())
        return upkeep.equipment_facts(self.equipment[equipment_id], defects, setting)


def scope_of(chambers: list[Chamber], at: datetime, rules: dict[int, dict[str, Decimal]]) -> Scope:
    """Return what to ask the database for."""
    oldest = max((max(one["bank_age_min"], one["check_age_min"]) for one in rules.values()), default=0)
    rest = max((max(one["least_rest_min"], one["longest_duty_min"]) for one in rules.values()), default=0)
    return Scope(
        chambers=tuple(chamber.pk for chamber in chambers),
        sites=tuple(rules),
        at=at.astimezone(UTC),
        since=at.astimezone(UTC) - timedelta(minutes=int(oldest) + 1),
        duty_since=at.astimezone(UTC) - timedelta(minutes=int(rest) + 1) if rest else None,
    )


def branches(scope: Scope) -> list[Any]:
    """Return the rows of every app that readiness rests on."""
    return [
        branch(SITE, Site.objects.filter(pk__in=scope.sites), "pk", "zone", "key"),
        *upkeep.branches(scope),
        *treatment.branches(scope),
        *shut.branches(scope),
        *gather_people.branches(scope),
        *gather_checks.branches(scope),
    ]


def fetch_rows(scope: Scope) -> Rows:
    """Fetch all rows of a scope in one query."""
    return fetch(branches(scope)) if scope.chambers else defaultdict(list)
