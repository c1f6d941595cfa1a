"""The page of one item: what it is, whether it is in date and why, what rests on it, its history, its trail."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, enter
from facility.history import timeline
from maintenance.calibrating.trail import trail_of
from maintenance.models import Defect, DefectEffect, Equipment, EquipmentKind
from maintenance.planning.history import history_of
from maintenance.services.defects import down_of
from maintenance.upkeep.state import DueState, Word, due_states_of
from maintenance.upkeep.words import cause_text

if TYPE_CHECKING:
    from collections.abc import Sequence

WORD_MARKS = {
    Word.IN_DATE: "indate", Word.SOON: "due", Word.OVERDUE: "over", Word.NEVER: "unknown", Word.SECOND_LOOK: "second",
    Word.IN_DOUBT: "unknown", Word.NOT_ASKED: "indate",
}  # fmt: skip
#: worst last
ORDER = (Word.NOT_ASKED, Word.IN_DATE, Word.SOON, Word.SECOND_LOOK, Word.IN_DOUBT, Word.NEVER, Word.OVERDUE)
COMPARED = {
    EquipmentKind.DEPTH_GAUGE, EquipmentKind.PRESSURE_GAUGE, EquipmentKind.CLOCK, EquipmentKind.ANALYSER,
    EquipmentKind.THERMOMETER,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Standing:
    """How an item stands in one line: its mark, its word, and what it comes from."""

    mark: str
    word: str
    why: str


def standing_of(states: Sequence[DueState], defects: Sequence[Defect]) -> Standing:
    """Return the worst of an item's open defects and of its rules that count."""
    out = [defect for defect in defects if defect.effect == DefectEffect.STOPS]
    if out:
        return Standing("tag", _("Out of service"), f"{out[0].number:04d} {out[0].what}")
    counting = [state for state in states if state.counts_for_readiness]
    worst = max(counting, key=lambda state: ORDER.index(state.word), default=None)
    if worst is not None and worst.word not in (Word.IN_DATE, Word.SOON, Word.NOT_ASKED):
        return Standing(WORD_MARKS[worst.word], _(worst.word.value).capitalize(), worst.act)
    restricted = [defect for defect in defects if defect.effect == DefectEffect.LIMITS]
    if restricted:
        return Standing("limits", _("Restricted"), f"{restricted[0].number:04d} {restricted[0].what}")
    if worst is None:
        return Standing("unknown", _("Nothing asks for it"), _("no rule that counts is adopted for this item"))
    return Standing(WORD_MARKS[worst.word], _(worst.word.value).capitalize(), worst.act)


def item(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one item of equipment."""
    visit = enter(request, site, Act.SEE)
    row = get_object_or_404(Equipment.objects.select_related("chamber", "lock"), pk=pk, site=visit.site)
    now = events.now()
    zone = ZoneInfo(visit.site.zone)
    states = due_states_of([row.pk], visit.site, now.astimezone(zone).date())
    defects = list(Defect.objects.filter(equipment=row, retired_at=None, returned_at=None).order_by("-found_at"))
    context = {
        "visit": visit, "place": "plant", "row": row, "defects": defects, "standing": standing_of(states, defects),
        "rules": [(state, WORD_MARKS[state.word], cause_text(state.cause, _event(state))) for state in states],
        "needs": _needs(row), "trail": trail_of(row), "lines": history_of(row, visit.site),
        "down": down_of([row.pk], now).get(row.pk), "compared": row.kind in COMPARED,
        "may_plant": visit.may(Act.PLANT), "may_raise": visit.may(Act.DEFECT), "history": timeline(row, zone),
    }  # fmt: skip
    return render(request, "maintenance/planning/item.html", context)


def _event(state: DueState) -> str:
    return state.first.event if state.first is not None else ""


def _needs(row: Equipment) -> list[dict[str, Any]]:
    """Return the needs that the item is a member of, with the plans in force that rest on them."""
    found = row.needed_by.filter(retired_at=None, need__retired_at=None).select_related("need").order_by("need__name")
    return [
        {"need": member.need, "plans": list(member.need.plans.filter(retired_at=None).order_by("place", "key"))}
        for member in found
    ]
