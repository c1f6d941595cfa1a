"""The answer: may this chamber start each of its plans now, what stands in the way, until when."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.compute.findings import Evaluation, dump_evaluation
from facility.compute.instants import format_instant, instant_of
from facility.compute.outlook import Outlook
from facility.compute.readiness import evaluate_run
from facility.compute.states import CAUTION, FindingState
from facility.gathered import collector_paused, current
from facility.models import Chamber
from facility.readiness.explain import Explainer
from facility.readiness.gather import Records, in_parts
from facility.readiness.names import Names
from facility.readiness.words import when

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import datetime

    from facility.compute.facts import Facility
    from facility.compute.instants import Instant
    from facility.models import Site

Plain = dict[str, Any]


def caution() -> str:
    """Return what every answer says of itself."""
    return _(CAUTION)


class Answer:
    """The readiness of one chamber at one instant, with what it takes to explain it."""

    def __init__(self, records: Records, chamber: Chamber) -> None:
        self.chamber = chamber
        self.at = records.at
        self.records = records
        self.facts: Facility = records.facts[chamber]
        self.outlook = Outlook(self.facts, self.at)
        self.evaluations: dict[str, Evaluation] = {
            plan: evaluate_run(self.outlook, self.outlook.run(plan)) for plan in self.facts.plans
        }

    @cached_property
    def names(self) -> Names:
        """What things are called here."""
        return Names(self.records, self.chamber)

    @cached_property
    def explainer(self) -> Explainer:
        """Explains the findings."""
        return Explainer(self.outlook, self.names)

    def plain(self, plan: str) -> Plain:
        """Return one plan's evaluation in its plain shape, every finding explained."""
        row = self.names.plans[plan]
        shape = self.explainer.evaluation(plan, self.evaluations[plan])
        return {"chamber": self.chamber.key, "plan": row.name, "plan_key": plan, "party": row.party} | shape

    def shown(self, plan: str) -> Plain:
        """Return one plan's evaluation in its plain shape; only what limits it or stands in the way is explained."""
        found = self.evaluations[plan]
        shape = dump_evaluation(found)
        for name, finding in found.findings.items():
            if finding.state != FindingState.HOLDS:
                shape["findings"][name] |= self.explainer.finding(plan, name, finding)
        return shape

    def reason(self, plan: str, need: str) -> str:
        """Return why one finding is what it is, its name first."""
        explained = self.explainer.finding(plan, need, self.evaluations[plan].findings[need])
        lift = " " + _("Can be lifted by: %s.") % explained["lift"] if explained["lift"] else ""
        return f"{explained['name']}: {explained['reason']}{lift}"


def answers(chambers: Iterable[Chamber], at: datetime) -> Iterator[Answer]:
    """Yield the answer for each chamber; the number of queries does not grow with their records."""
    parts = in_parts(chambers, at)
    while True:
        with collector_paused():
            records = next(parts, None)
            found = [] if records is None else [Answer(records, chamber) for chamber in records.chambers]
        if records is None:
            return
        yield from found


def evaluate_chamber(chamber: Chamber, at: datetime) -> Answer:
    """Return the readiness of one chamber at ``at``."""
    return Answer(Records([chamber], at), chamber)


def chambers_of(site: Site) -> list[Chamber]:
    """Return the chambers of a site that are still there, by key."""
    return list(current(Chamber).filter(site=site).order_by("key"))


def site_output(site: Site, at: datetime) -> Plain:
    """Return the answer for every chamber and plan of a site, in its plain shape."""
    return output_of(site, chambers_of(site), at)


def output_of(site: Site, chambers: Iterable[Chamber], at: datetime) -> Plain:
    """Return the answer for some chambers of a site, in its plain shape."""
    plans = [answer.plain(plan) for answer in answers(chambers, at) for plan in answer.facts.plans]
    return {"site": site.key, "at": format_instant(instant_of(at)), "plans": plans, "caution": caution()}


def answer_for(chamber: Chamber, at: datetime) -> str:
    """Return in words what is shown of a chamber, to be kept with an event."""
    answer = evaluate_chamber(chamber, at)
    zone = chamber.site.zone
    return "\n".join([f"{chamber.name}, {when(answer.at, zone)} ({zone})", *answer_lines(answer, zone), caution()])


def answer_lines(answer: Answer, zone: str = "") -> list[str]:
    """Return one line of words for each plan of a chamber, by the clock of a zone, else in UTC."""
    if not answer.facts.plans:
        return [_("No plan is in force: nothing is known of what could be treated.")]
    return [plan_line(answer, plan, zone) for plan in answer.facts.plans]


def plan_line(answer: Answer, plan: str, zone: str = "") -> str:
    """Say a plan's state, until when, and what limits it or stands in the way; by the clock of a zone, else in UTC."""

    def said(at: Instant) -> str:
        return when(at, zone) if zone else format_instant(at)

    found = answer.evaluations[plan]
    named = answer.names.need_names
    parts = [f"{answer.names.plans[plan].name}: {found.state}"]
    if found.holds_until is not None:
        parts.append(_("until %s") % said(found.holds_until))
    if found.limiting:
        parts.append(_("limited by %s") % _names(named, found.limiting))
    if found.in_the_way:
        parts.append(_("in the way: %s") % _names(named, found.in_the_way))
    if found.ready_from is not None:
        parts.append(_("ready from %s") % said(found.ready_from))
    return ", ".join(parts)


def _names(named: dict[str, str], keys: Iterable[str]) -> str:
    return ", ".join(named.get(key, key) for key in keys)
