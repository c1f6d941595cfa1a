"""Why a finding is what it is: a sentence, value, limit, source, who can lift it, and its members."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.compute import facts as f
from facility.compute.findings import Evaluation, Finding, dump_evaluation, dump_instant
from facility.compute.instants import FOREVER, Instant
from facility.compute.outlook import Outlook, Run
from facility.compute.states import GOOD, LIMITED, UNKNOWN, FindingState
from facility.gathered import minute_down, minute_up
from facility.readiness import words
from facility.readiness.explain_crew import explain_crew
from facility.readiness.explain_members import MEMBER_STATES, Asked, causes_of
from facility.readiness.explain_rules import Cause
from facility.readiness.shut_downs.rows import SHUT_DOWN
from treatments.readiness import IN_USE

if TYPE_CHECKING:
    from facility.readiness.names import Names

Plain = dict[str, Any]
NO_CAUSE = Cause(GOOD, "")


class Explainer:
    """Explains the findings of one chamber at one instant."""

    def __init__(self, outlook: Outlook, names: Names) -> None:
        self.outlook = outlook
        self.facility = outlook.facility
        self.names = names

    def evaluation(self, plan: str, evaluation: Evaluation) -> Plain:
        """Return an evaluation in its plain shape, every finding explained."""
        shape = dump_evaluation(evaluation)
        for name, finding in evaluation.findings.items():
            shape["findings"][name] |= self.finding(plan, name, finding)
        return shape

    def finding(self, plan: str, name: str, finding: Finding) -> Plain:
        """Return what a site adds to a finding: reason, value, limit, source, lift, members."""
        run = self.outlook.run(plan)
        if name == f.CREW:
            found = explain_crew(self.outlook, run, finding, self.names)
        else:
            found = self._need(run, name, finding)
        if finding.waived:
            found["reason"] = f"{found['reason']} {self._waiver(plan, name)}".strip()
        return found

    def _need(self, run: Run, name: str, finding: Finding) -> Plain:
        need = self.facility.needs[name]
        found = [self.member(run, need, member) for member in dict.fromkeys(need.members)]
        members = [shape for shape, _cause in found]
        single = found[0][1] if len(found) == 1 else NO_CAUSE
        good = sum(finding.counts[: LIMITED + 1])
        row = self.names.needs.get(name)
        return {
            "name": self.names.need_names.get(name, name),
            "reason": self._reason(need, finding, members),
            "value": single.value or _("%(good)d of %(all)d good") % {"good": good, "all": len(members)},
            "limit": single.limit or _("at least %(k)d of %(all)d") % {"k": need.k, "all": len(members)},
            "source": (row.source if row else "") or single.source,
            "lift": (row.lift if row else "") or _lift(need, finding, members),
            "members": members,
        }

    def member(self, run: Run, need: f.Need, name: str) -> tuple[Plain, Cause]:
        """Return one member in its plain shape, and its worst cause."""
        first, last = run.part(need.from_, need.to)
        at = self.outlook.at
        demand = run.plan.gas.get(need.gas) if need.gas else None
        asked = Asked(run.name, at, at + first, at + last, demand, need.gas)
        causes = causes_of(name, self.facility, self.names, asked) or [NO_CAUSE]
        level = self.outlook.member(name, run, (first, last), need.gas).level(at)
        cause = next((one for one in causes if one.level == level), causes[0])
        shape = {
            "id": name,
            "name": self.names.member(name),
            "state": MEMBER_STATES[level],
            "reason": cause.text,
            "causes": [one.text for one in causes if one.level > GOOD],
            "value": cause.value,
            "limit": cause.limit,
            "source": cause.source,
            "good_until": dump_instant(self.good_until(run, need, name)),
            "record": self.names.record(name),
        }
        return shape, cause

    def good_until(self, run: Run, need: f.Need, name: str) -> Instant | None:
        """Return when the member itself gets worse, asked with a run of no length; None: not on record, or not good."""
        at = self.outlook.at
        signal = self.outlook.member(name, self.outlook.point(run), (0, 0), need.gas)
        level = signal.level(at)
        end = signal.until_worse(at, level) if level < UNKNOWN else FOREVER
        return None if end >= FOREVER else end

    def _reason(self, need: f.Need, finding: Finding, members: list[Plain]) -> str:
        if need.members == (IN_USE,):
            return _("The chamber is %(what)s.") % {"what": members[0]["reason"]}
        if not members:
            return _("Nothing on record could meet it: no member counts any more.")
        head = _counted(need, finding, len(members))
        wanting = sorted((one for one in members if one["state"] != "good"), key=_badness)
        shown = wanting if wanting else members
        return f"{head} {words.listed([_said(one) for one in shown])}.".strip()

    def _waiver(self, plan: str, name: str) -> str:
        """Say who decided to run without it, and until when."""
        records = self.names.records
        at = self.outlook.at
        for row in records.waivers_of.get(self.names.chamber.pk, ()):
            need = f.CREW if row.need is None else records.needs[row.need].key if row.need in records.needs else ""
            in_force = minute_up(row.starts_at) <= at < minute_down(row.ends_at)
            if need == name and in_force and (not row.plans or plan in row.plans):
                end = words.when(minute_down(row.ends_at), self.facility.zone)
                said = {"who": row.granted_by, "until": end, "why": row.why}
                return _("Under a waiver by %(who)s until %(until)s: %(why)s.") % said
        return _("Under a waiver.")


def _counted(need: f.Need, finding: Finding, members: int) -> str:
    """Say how many members a need asks for and how many are good; of a single one nothing needs counting."""
    if members == 1:
        return ""
    good, limited, unknown, bad = finding.counts
    counted = [
        ngettext("%d good", "%d good", good) % good if good else _("none good"),
        ngettext("%d limited", "%d limited", limited) % limited if limited else "",
        ngettext("%d not known", "%d not known", unknown) % unknown if unknown else "",
        ngettext("%d not good", "%d not good", bad) % bad if bad else "",
    ]
    said = {"k": need.k, "all": members, "counts": ", ".join(one for one in counted if one)}
    return _("Needs %(k)d of %(all)d: %(counts)s.") % said


def _badness(member: Plain) -> int:
    return -MEMBER_STATES.index(member["state"])


def _said(member: Plain) -> str:
    """Say a member and all that is wrong with it; one that is good, with its own end."""
    return f"{member['name']}, {'; '.join(member['causes'][:2]) or member['reason']}"


def _lift(need: f.Need, finding: Finding, members: list[Plain]) -> str:
    """Say what lifts a finding where the site wrote nothing about it."""
    if finding.without_waiver in (FindingState.HOLDS, FindingState.LIMITS):
        return ""
    if need.members == (IN_USE,):
        return _("the end of the run, and the turn-round")
    if need.members == (SHUT_DOWN,):
        return _("the end of the shut-down, or taking it back")
    kinds = {member["id"].partition(":")[0] for member in members}
    known = finding.without_waiver == FindingState.NOT_KNOWN
    acts = {
        "bank": _("a reading of the bank, each cylinder analysed") if known else _("more gas, analysed and read"),
        "sheet": _("a new signed check"),
        "equipment": _("the act that is missing, recorded") if known else _("the act that is due, or a return to service"),
    }  # fmt: skip
    found = [text for kind, text in acts.items() if kind in kinds]
    if need.waivable:
        found.append(_("a waiver"))
    return _(" or ").join(found)
