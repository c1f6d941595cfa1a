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
from facility.counted import counted
from facility.events import What
from facility.models import Chamber, Check, CheckState, Occasion, QualificationKind
from facility.services import ChangedMeanwhileError, need_reason, plain, site_key_of
from maintenance.models import Gas
from treatments.compute.plans import (
    PlanError,
    as_json,
    check_key,
    parse_extensions,
    parse_plan,
    parse_roles,
    roles_json,
    run_min,
)
from treatments.models import Need, NeedMember, Plan, SiteTable
from treatments.reference import FILES, table

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from facility.events import Actor
    from facility.models import Site


def _said(error: PlanError, field: str) -> ValidationError:
    words = _("%(what)s: “%(value)s” is refused. %(limit)s")
    params = {
        "what": error.what,
        "value": error.value if error.value is not None else _("nothing"),
        "limit": error.limit,
    }
    return ValidationError({field: ValidationError(words, code="plan", params=params)})


def known_tables(site: Site | None) -> dict[str, str]:
    """Return key and name of each treatment table that a plan may name: shipped ones, and the site's own in force."""
    own = (
        SiteTable.objects.filter(site=site, retired_at=None, approved_at__isnull=False).order_by("key") if site else []
    )
    return {key: table(key).title for key in FILES} | {row.key: str(row.parts["title"]) for row in own}


def check_plan(plan: Plan) -> None:
    """Parse the JSON of a plan and write it back in its one shape.

    Errors: ValidationError naming what, which value and what is allowed.
    """
    known = QualificationKind.objects.filter(organisation__sites=plan.chamber.site_id, retired_at=None)
    if plan.table and plan.table not in (tables := known_tables(plan.chamber.site)):
        raise ValidationError({"table": _("“%(key)s” is no treatment table here. There are: %(known)s.")
                               % {"key": plan.table, "known": ", ".join(tables)}})  # fmt: skip
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
    _check_emergency(plan, set(known.values_list("key", flat=True)))


def _check_emergency(plan: Plan, qualifications: set[str]) -> None:
    """Parse the emergency crew of a plan and write it back in its one shape; none at all is allowed."""
    if not plan.emergency_roles:
        plan.emergency_roles = []
        return
    try:
        roles = parse_roles(plan.emergency_roles, qualifications=qualifications)
    except PlanError as error:
        raise _said(error, "__all__") from None
    plan.emergency_roles = roles_json(roles)


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
        raise ValidationError({"k": _("It asks for %(k)d but has %(members)s. Name more, or ask for fewer.")
                               % {"k": need.k, "members": counted(count, "member", "members")}})  # fmt: skip
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
