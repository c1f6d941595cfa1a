"""Acts on plans, needs and runs: each one transaction with its events."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from facility import events, services
from facility.events import What
from facility.models import Chamber, Check, CheckState, Occasion, Person, QualificationKind
from facility.services import ChangedMeanwhileError, need_reason, plain, site_key_of
from maintenance.models import Gas
from treatments.compute.plans import PlanError, as_json, check_key, parse_extensions, parse_plan, run_min
from treatments.models import Need, NeedMember, Plan, PressureWait, Run

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from facility.events import Actor


def _said(error: PlanError, field: str) -> ValidationError:
    words = _("%(what)s: “%(value)s” is refused. %(limit)s")
    params = {
        "what": error.what,
        "value": error.value if error.value is not None else _("nothing"),
        "limit": error.limit,
    }
    return ValidationError({field: ValidationError(words, code="plan", params=params)})


def check_plan(plan: Plan) -> None:
    """Parse the JSON of a plan and write it back in its one shape.

    Errors: ValidationError naming what, which value and what is allowed.
    """
    known = QualificationKind.objects.filter(organisation__sites=plan.chamber.site_id, retired_at=None)
    try:
        check_key(_("key"), plan.key)
    except PlanError as error:
        raise _said(error, "key") from None
    try:
        parts = parse_plan(
            plan.extensions, plan.roles, plan.gas,
            qualifications=set(known.values_list("key", flat=True)), gases=set(Gas.values),
        )  # fmt: skip
    except PlanError as error:
        raise _said(error, "__all__") from None
    for name, value in as_json(parts).items():
        setattr(plan, name, value)


@transaction.atomic
def put_in_force(plan: Plan, needs: Sequence[Need], *, by: Actor, reason: str, old: Plan | None = None) -> Plan:
    """Store a plan as the next version of its key; ``old`` no longer counts from now on.

    One event tells the values and the needs before and after.
    Errors: ValidationError if a value is refused; ChangedMeanwhileError if ``old`` no longer counts.
    """
    reason = need_reason(reason)
    check_plan(plan)
    _of_one_chamber(plan, needs)
    at = events.now()
    before: dict[str, str] | None = None
    if old is not None:
        before = plain(old) | {"needs": _keys(old.needs.all())}
        changed = Plan.objects.filter(pk=old.pk, retired_at=None).update(retired_at=at, retired_reason=reason[:500])
        if not changed:
            raise ChangedMeanwhileError(Plan.objects.get(pk=old.pk))
        plan.key, plan.supersedes = old.key, old
    last = Plan.objects.filter(chamber=plan.chamber_id, key=plan.key).aggregate(last=Max("version"))["last"]
    plan.version = (last or 0) + 1
    plan.recorded_at, plan.recorded_by = at, by.name
    plan.full_clean(exclude=["recorded_by"])
    plan.save(force_insert=True)
    plan.needs.set(needs)
    after = plain(plan) | {"needs": _keys(needs)}
    events.record(plan, What("plan put in force", reason, before, after, site_key=site_key_of(plan)), by=by)
    return plan


def _of_one_chamber(plan: Plan, needs: Iterable[Need]) -> None:
    for need in needs:
        if need.chamber_id != plan.chamber_id or not need.is_current:
            raise ValidationError({"needs": _("“%(need)s” is no need of this chamber that counts. Choose others.")
                                   % {"need": need}})  # fmt: skip


def _keys(needs: Iterable[Need]) -> str:
    return ", ".join(sorted(need.key for need in needs))


@dataclass(frozen=True, slots=True)
class Members:
    """What shall meet a need: ids of equipment, banks and check sheets."""

    equipment: tuple[int, ...] = ()
    banks: tuple[int, ...] = ()
    sheets: tuple[int, ...] = ()

    def links(self) -> set[tuple[str, int]]:
        """Return each member as its field and id."""
        return {
            *(("equipment_id", pk) for pk in self.equipment),
            *(("bank_id", pk) for pk in self.banks),
            *(("sheet_id", pk) for pk in self.sheets),
        }


@transaction.atomic
def add_need(need: Need, members: Members, *, by: Actor) -> Need:
    """Store a need and its members.

    Errors: ValidationError if a value is refused, or fewer members are named than it asks for.
    """
    _check_need(need, members)
    services.add(need, by=by)
    _set_members(need, members, by, reason="")
    return need


@transaction.atomic
def change_need(need: Need, members: Members, *, by: Actor, reason: str, shown_version: int) -> Need:
    """Store changed values of a need and bring its members to what is named.

    Errors: as add_need(); ChangedMeanwhileError if it changed after it was shown.
    """
    _check_need(need, members)
    services.change(need, by=by, reason=reason, shown_version=shown_version)
    _set_members(need, members, by, reason=reason)
    return need


def _check_need(need: Need, members: Members) -> None:
    try:
        check_key(_("key"), need.key)
    except PlanError as error:
        raise _said(error, "key") from None
    count = len(members.links())
    if count < need.k:
        raise ValidationError({"k": _("It asks for %(k)d but has %(n)d members. Name more, or ask for fewer.")
                               % {"k": need.k, "n": count}})  # fmt: skip
    if need.gas and (members.equipment or members.sheets):
        raise ValidationError({"gas": _("A gas is for banks only. Leave the gas empty, or name banks alone.")})
    if members.banks and not need.gas:
        raise ValidationError(
            {"gas": _("Say which gas the banks hold, so that their content can be compared with the plan.")}
        )
    if need.to_min is not None and need.to_min < need.from_min:
        raise ValidationError({"to_min": _("It ends at minute %(to)d, before it begins at %(from)d.")
                               % {"to": need.to_min, "from": need.from_min}})  # fmt: skip


def _set_members(need: Need, members: Members, by: Actor, *, reason: str) -> None:
    wanted = members.links()
    for row in need.members.filter(retired_at=None):
        link = next((name, value) for name in ("equipment_id", "bank_id", "sheet_id") if (value := getattr(row, name)))
        if link in wanted:
            wanted.discard(link)
        else:
            services.retire(row, by=by, reason=reason or _("No longer a member."), action="member taken off")
    for name, value in sorted(wanted):
        fields: dict[str, Any] = {name: value}
        services.add(NeedMember(need=need, **fields), by=by, action="member added", reason=reason)


@transaction.atomic
def retire_need(need: Need, *, by: Actor, reason: str) -> Need:
    """Let a need no longer count.

    Errors: ValidationError while a plan in force rests on it, since that plan would quietly ask for less.
    """
    resting = ", ".join(need.plans.filter(retired_at=None).order_by("key").values_list("name", flat=True))
    if resting:
        raise ValidationError(_("Plans in force rest on it: %(plans)s. Put a version without it in force first."),
                              code="rests", params={"plans": resting})  # fmt: skip
    return services.retire(need, by=by, reason=reason)


def planned_end(plan: Plan, started_at: datetime) -> datetime:
    """Return when a run of this plan ends if every extension is taken: D without the margin."""
    return started_at + timedelta(minutes=run_min(plan.table_min, parse_extensions(plan.extensions)))


def newest_before_check(chamber: Chamber, at: datetime) -> Check | None:
    """Return the newest signed before-run check of a chamber at an instant."""
    rows = Check.objects.filter(sheet__chamber=chamber, state=CheckState.SIGNED, signed_at__lte=at, retired_at=None)
    return rows.filter(sheet__occasion=Occasion.BEFORE_RUN).order_by("-signed_at").first()


@dataclass(frozen=True, slots=True)
class Start:
    """How a run begins. ``shown`` is the text of readiness at that moment, ``ready`` whether it said so."""

    plan: Plan
    purpose: str
    supervisor: str
    at: datetime
    shown: str
    ready: bool
    reason: str = ""


@transaction.atomic
def start_run(start: Start, *, by: Actor, late: bool = False) -> Run:
    """Record that a chamber left surface. Never refused for readiness: a run outside the house rules is marked so.

    Errors: ValidationError if a run is on already, the plan is not in force, or the reason is missing
    where the plan was Not ready or Not known.
    """
    chamber = Chamber.objects.select_for_update().get(pk=start.plan.chamber_id)
    _refuse_start(start, chamber)
    last = Run.objects.filter(chamber=chamber).aggregate(last=Max("number"))["last"]
    shown = start.shown if start.ready else f"{start.shown}\n\n{_('Reason')}: {start.reason.strip()}"
    run = Run(
        chamber=chamber, number=(last or 0) + 1, purpose=start.purpose, plan=start.plan, started_at=start.at,
        planned_end_at=planned_end(start.plan, start.at), supervisor=start.supervisor.strip(),
        outside_house_rules=not start.ready, shown=shown, before_check=newest_before_check(chamber, start.at),
    )  # fmt: skip
    action = "run started" if start.ready else "run started outside the house rules"
    return services.add(run, by=by, action=action, reason=start.reason.strip(), late=late)


def _refuse_start(start: Start, chamber: Chamber) -> None:
    on = Run.objects.filter(chamber=chamber, ended_at=None, retired_at=None).first()
    if on is not None:
        raise ValidationError(_("Run %(number)d is still on in %(chamber)s. Record its end first.")
                              % {"number": on.number, "chamber": chamber}, code="on")  # fmt: skip
    if not start.plan.is_current:
        raise ValidationError({"plan": _("This version of the plan is no longer in force. Choose the one that is.")})
    if not start.supervisor.strip():
        raise ValidationError({"supervisor": _("Name the supervisor of the run.")})
    if not start.ready and not start.reason.strip():
        raise ValidationError(
            {
                "reason": _(
                    "The plan is not ready, or not known to be. Say why the run starts all the same; it is kept with it."
                )
            }
        )
    before = Run.objects.filter(chamber=chamber, ended_at__gt=start.at, retired_at=None).first()
    if before is not None:
        raise ValidationError({"at": _("Run %(number)d ended after this time. Give the time when this run left surface.")
                               % {"number": before.number}})  # fmt: skip


@transaction.atomic
def end_run(run: Run, at: datetime, inside: Iterable[Person], *, by: Actor, late: bool = False) -> Run:
    """Record that a run reached surface; those inside must wait before they go under pressure again.

    Errors: ValidationError if it ended already or before it started.
    """
    if run.ended_at is not None:
        raise ValidationError(_("Run %(number)d ended already.") % {"number": run.number}, code="ended")
    if run.started_at is None:
        raise ValidationError(_("Run %(number)d has not left surface.") % {"number": run.number}, code="not started")
    if at <= run.started_at:
        raise ValidationError({"at": _("The run would end before it left surface. Give a later time.")})
    run.ended_at = at
    services.change(run, by=by, reason=_("Reached surface."), shown_version=run.row_version, action="run ended")
    until = at + timedelta(minutes=run.plan.wait_min)
    for person in inside:
        wait = PressureWait(person=person, run=run, starts_at=run.started_at, ends_at=until,
                            why=_("inside in run %(number)d") % {"number": run.number}, occurred_at=at)  # fmt: skip
        services.add(wait, by=by, action="wait begins", late=late)
    return run
