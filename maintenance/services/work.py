"""Records of work: stored, corrected, looked at a second time."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services
from maintenance.models import WorkKind, WorkRecord, WorkResult

if TYPE_CHECKING:
    from datetime import date

    from facility.events import Actor

SET_POINT_CHANGED = "alarm set-point changed"
#: in a record's details: who typed it, that one of its readings asks for a defect, and the defect that it led to
TYPED_BY, OUTSIDE, LED_TO = "typed_by", "outside", "defect"


def same_person(one: str, other: str) -> bool:
    """Return whether two names are the same, whatever their letters' case, form and blanks."""
    first, second = (" ".join(unicodedata.normalize("NFKC", name).casefold().split()) for name in (one, other))
    return first == second


def record_work(work: WorkRecord, *, by: Actor, late: bool = False) -> WorkRecord:
    """Record one act on an item. A failed one should lead on to raise_defect().

    A changed alarm set-point has an event of its own name, with old, new and the person.
    Errors: ValidationError if a field refuses it, or if the rule is of another item.
    """
    _of_one_item(work)
    work.details = {**work.details, TYPED_BY: by.name}
    action, reason = _said(work)
    return services.add(work, by=by, action=action, reason=reason, late=late)


def _of_one_item(work: WorkRecord) -> None:
    if work.rule is not None and work.rule.equipment_id != work.equipment_id:
        raise ValidationError({"rule": _("This act is of another item. Choose one of this item.")})


def _said(work: WorkRecord) -> tuple[str, str]:
    """Return the name of the event, and for a set-point what was changed by whom and why."""
    details: dict[str, Any] = work.details
    if work.kind != WorkKind.SET_POINT or "new" not in details:
        return "work recorded", ""
    words = _("%(what)s: %(old)s → %(new)s %(unit)s by %(who)s. %(why)s") % {
        "what": details.get("watches", ""), "old": details.get("old", ""), "new": details["new"],
        "unit": details.get("unit", ""), "who": work.done_by, "why": details.get("why", ""),
    }  # fmt: skip
    return SET_POINT_CHANGED, words.strip()


def leads_to_defect(work: WorkRecord) -> bool:
    """Return whether the result of an act asks for a defect to be raised."""
    return work.result == WorkResult.FAILED


def asks_for_defect(work: WorkRecord) -> bool:
    """Return whether an act failed or a reading of it is outside its limits, and no defect has come of it yet."""
    return (leads_to_defect(work) or bool(work.details.get(OUTSIDE))) and LED_TO not in work.details


def correct_work(old: WorkRecord, new: WorkRecord, *, by: Actor, reason: str) -> WorkRecord:
    """Put ``new`` in the place of ``old``. Days read off a paper have to be read a second time again.

    Errors: ValidationError as in record_work(); ChangedMeanwhileError if ``old`` no longer counts.
    """
    _of_one_item(new)
    if new.equipment_id != old.equipment_id:
        raise ValidationError(
            {"equipment": _("A correction stays on its item. Record the work on the other item anew.")}
        )
    new.details = {**new.details, TYPED_BY: by.name}
    if LED_TO in old.details:
        new.details[LED_TO] = old.details[LED_TO]
    new.needs_second_look = new.needs_second_look or old.needs_second_look or bool(old.second_look_by)
    new.second_look_by, new.second_look_at = "", None
    services.supersede(old, new, by=by, reason=reason)
    return new


def _refuse_same_reader(work: WorkRecord, by: Actor) -> None:
    if not work.is_current or not work.needs_second_look:
        raise ValidationError(_("This record does not wait for a second look. Look at it again."), code="no look")
    first = str(work.details.get(TYPED_BY) or work.recorded_by)
    if same_person(by.name, first):
        raise ValidationError(_("%(name)s read the paper first. The second look must be another person's.")
                              % {"name": first}, code="same reader")  # fmt: skip


def confirm_days(work: WorkRecord, days: tuple[date, date | None], *, by: Actor, shown_version: int) -> WorkRecord:
    """Record that a second person read the same days off the paper; from now on the record counts.

    ``days``: done on, next due (None: the paper gives none).
    Errors: ValidationError naming the day that differs, or if the first reader looks; ChangedMeanwhileError.
    """
    _refuse_same_reader(work, by)
    differ = _("The first reading says something else. Look at the paper again; if the first is wrong, refuse it.")
    if days[0] != work.done_on:
        raise ValidationError({"done_on": differ})
    if (days[1] or None) != work.due_on and not (days[1] is None and work.details.get("due_reckoned")):
        raise ValidationError({"due_on": differ})
    work.needs_second_look = False
    work.second_look_by, work.second_look_at = by.name, events.now()
    return services.change(work, by=by, reason=_("Days read a second time from the paper."),
                           shown_version=shown_version, action="second look")  # fmt: skip


@transaction.atomic
def refuse_days(work: WorkRecord, new: WorkRecord, *, by: Actor, reason: str) -> WorkRecord:
    """Put the days as the second person reads them in the place of the first; now the first has to look again.

    Errors: ValidationError if the first reader refuses, or the days are the same; ChangedMeanwhileError.
    """
    _refuse_same_reader(work, by)
    if (new.done_on, new.due_on) == (work.done_on, work.due_on):
        raise ValidationError(_("These are the days that were typed first. Confirm them instead."), code="same days")
    new.needs_second_look = True
    return correct_work(work, new, by=by, reason=reason)
