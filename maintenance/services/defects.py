"""Defects: raised under a tag number, corrected; what one of them stops and what still holds; time down."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from facility import services
from facility.models import Chamber, Site
from maintenance.compute.outage import Hit, NeedSeen, Reason, down_min, reasons, together_min
from maintenance.models import Defect, DefectEffect
from maintenance.services.work import LED_TO

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from facility.events import Actor
    from maintenance.models import Equipment, GasBank, WorkRecord


@transaction.atomic
def raise_defect(defect: Defect, *, by: Actor, late: bool = False, work: WorkRecord | None = None) -> Defect:
    """Give a defect the site's next tag number and store it; ``work`` is the act whose result led to it.

    Errors: ValidationError if a field refuses it, or the item or bank is of another site.
    """
    Site.objects.select_for_update().get(pk=defect.site_id)
    _of_one_site(defect)
    _refuse_doubtful_gas(defect)
    last = Defect.objects.filter(site=defect.site_id).aggregate(last=Max("number"))["last"]
    defect.number = (last or 0) + 1
    defect.occurred_at = defect.found_at
    stored = services.add(defect, by=by, action="defect raised", late=late)
    if work is not None and work.equipment_id == defect.equipment_id:
        work.details = {**work.details, LED_TO: stored.pk}
        services.change(work, by=by, reason=_("Tag %(number)04d was raised from it.") % {"number": stored.number},
                        shown_version=work.row_version, action="led to a defect")  # fmt: skip
    return stored


@transaction.atomic
def correct_defect(old: Defect, new: Defect, *, by: Actor, reason: str) -> Defect:
    """Put ``new`` in the place of ``old`` under the same tag number; its repairs go on counting.

    Errors: ValidationError as in raise_defect(); ChangedMeanwhileError if ``old`` no longer counts.
    """
    if old.returned_at is not None:
        raise ValidationError(_("Tag %(number)04d is returned to service and stays as it is. Raise a new defect.")
                              % {"number": old.number}, code="returned")  # fmt: skip
    _of_one_site(new)
    _refuse_doubtful_gas(new)
    new.number = old.number
    new.occurred_at = new.found_at
    services.supersede(old, new, by=by, reason=reason)
    return new


def _of_one_site(defect: Defect) -> None:
    for name in ("equipment", "bank"):
        thing = getattr(defect, name)
        if thing is not None and thing.site_id != defect.site_id:
            raise ValidationError({name: _("This one belongs to another site. Choose one of this site.")})


def _refuse_doubtful_gas(defect: Defect) -> None:
    if defect.gas_suspect and defect.bank_id and defect.effect != DefectEffect.STOPS:
        raise ValidationError({"effect": _("Gas that could be wrong counts as unanalysed until it is analysed: choose"
                                           " out of service, or say that the gas is not in doubt.")})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Effect:
    """What a defect alone does: names of plans it stops, limits and leaves; a sentence for each need that gives way."""

    stopped: tuple[str, ...]
    limited: tuple[str, ...]
    holding: tuple[str, ...]
    because: tuple[str, ...]


def effects_on(site: Site, thing: Equipment | GasBank, *, leave_out: int | None = None) -> dict[str, Effect]:
    """Return for "stops", "limits" and "watch" what a defect on a thing would do to the plans in force.

    It looks at the needs that the thing is a member of and at defects open on the other members, at nothing else.
    """
    names = _plan_names(site)
    needs = _needs_of(thing, leave_out)
    found = {"watch": Effect((), (), tuple(names.values()), ())}
    for key, out in (("stops", True), ("limits", False)):
        found[key] = _effect(names, reasons(needs, out=out))
    return found


def effect_of(defect: Defect) -> Effect:
    """Return what an open defect does, on its own plans where it names some."""
    thing: Any = defect.equipment or defect.bank
    names = _plan_names(defect.site)
    if defect.effect == DefectEffect.WATCH:
        return Effect((), (), tuple(names.values()), ())
    only = _keys(defect.site, defect.plans) if defect.plans else None
    told = reasons(_needs_of(thing, defect.pk), out=defect.effect == DefectEffect.STOPS, only=only)
    return _effect(names, told)


def _keys(site: Site, keys: list[str]) -> list[str]:
    rows = Chamber.objects.filter(site=site, plans__retired_at=None, plans__key__in=keys)
    return [str(pk) for pk in rows.values_list("plans__pk", flat=True)]


def _plan_names(site: Site) -> dict[str, str]:
    """Return the names of the plans in force by primary key; with the chamber's where there are several."""
    rows = Chamber.objects.filter(site=site, retired_at=None, plans__retired_at=None, plans__isnull=False)
    found = list(
        rows.order_by("key", "plans__place", "plans__key").values_list(
            "plans__pk", "plans__name", "plans__party", "name"
        )
    )
    several = len({chamber for *_rest, chamber in found}) > 1
    return {
        str(pk): f"{name}, {party}" + (f" ({chamber})" if several else "") for pk, name, party, chamber in found
    }  # fmt: skip


def _needs_of(thing: Any, leave_out: int | None) -> list[NeedSeen]:
    links = thing.needed_by.filter(retired_at=None, need__retired_at=None)
    needs = [link.need for link in links.select_related("need").prefetch_related("need__members", "need__plans")]
    ill = _ill(thing.site_id, leave_out)
    found = []
    for need in needs:
        members = [member for member in need.members.all() if member.is_current]
        others = [member for member in members if not _is(member, thing)]
        states = [ill.get((member.equipment_id, member.bank_id)) for member in others]
        found.append(NeedSeen(
            need.name, need.k, len(members), states.count(None), states.count(DefectEffect.LIMITS),
            need.effect == "limits", tuple(str(plan.pk) for plan in need.plans.all() if plan.is_current),
        ))  # fmt: skip
    return found


def _is(member: Any, thing: Any) -> bool:
    mine = member.equipment_id if hasattr(thing, "tag") else member.bank_id
    return bool(mine == thing.pk)


def _ill(site_id: int, leave_out: int | None) -> dict[tuple[int | None, int | None], str]:
    """Return the worst effect of the open defects of each item and bank."""
    rows = Defect.objects.filter(site=site_id, retired_at=None, returned_at=None).exclude(effect=DefectEffect.WATCH)
    found: dict[tuple[int | None, int | None], str] = {}
    if leave_out is not None:
        rows = rows.exclude(pk=leave_out)
    for equipment, bank, effect in rows.values_list("equipment", "bank", "effect"):
        for key in [(equipment, None)] * bool(equipment) + [(None, bank)] * bool(bank):
            if found.get(key) != DefectEffect.STOPS:
                found[key] = effect
    return found


def _effect(names: dict[str, str], told: list[Reason]) -> Effect:
    hit = {reason.plan: reason for reason in told}
    by_hit: dict[Hit, list[str]] = defaultdict(list)
    for pk, name in names.items():
        by_hit[hit[pk].hit if pk in hit else Hit.HOLDS].append(name)
    because = dict.fromkeys(
        _("%(need)s asks for %(k)d of %(n)d and has %(left)d left")
        % {"need": reason.need, "k": reason.wanted, "n": reason.members, "left": reason.left}
        for reason in told if reason.hit is not Hit.HOLDS
    )  # fmt: skip
    return Effect(tuple(by_hit[Hit.STOPPED]), tuple(by_hit[Hit.LIMITED]), tuple(by_hit[Hit.HOLDS]), tuple(because))


@dataclass(frozen=True, slots=True)
class Down:
    """Minutes that an item was out of service and restricted, all its defects together, each minute once."""

    out_min: int
    limited_min: int


def down_of(equipment_ids: Iterable[int], now: datetime) -> dict[int, Down]:
    """Return how long each item was down; an open defect counts until ``now``. One query."""
    spans: dict[tuple[int, str], list[tuple[datetime, datetime]]] = defaultdict(list)
    wanted = list(equipment_ids)
    rows = Defect.objects.filter(equipment__in=wanted, retired_at=None)
    for item, effect, found_at, returned_at in rows.values_list("equipment", "effect", "found_at", "returned_at"):
        spans[item or 0, effect].append((found_at, returned_at or now))
    return {
        item: Down(together_min(spans[item, DefectEffect.STOPS]), together_min(spans[item, DefectEffect.LIMITS]))
        for item in wanted
    }  # fmt: skip


def down_so_far(defect: Defect, now: datetime) -> int:
    """Return the minutes from when a defect was found until its return, or until ``now``."""
    return down_min(defect.found_at, defect.returned_at or now)
