"""Acts of upkeep: work done, readings, openings, defects and their return to service."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from facility import services
from facility.models import Site
from maintenance.models import BankReading, Defect, Opening, WorkRecord, WorkResult

if TYPE_CHECKING:
    from datetime import datetime

    from facility.events import Actor


def record_reading(reading: BankReading, *, by: Actor, late: bool = False) -> BankReading:
    """Store what a bank's gauge showed, as typed, with its unit.

    Errors: ValidationError if a field refuses it, such as a pressure below 0, or the cylinder is of another bank.
    """
    if reading.cylinder is not None and reading.cylinder.bank_id != reading.bank_id:
        raise ValidationError({"cylinder": _("This cylinder is of another bank. Choose one of this bank.")})
    reading.occurred_at = reading.read_at
    return services.add(reading, by=by, action="bank read", late=late)


def add_opening(opening: Opening, *, by: Actor, late: bool = False) -> Opening:
    """Store that a chamber was opened for work: checks signed before it no longer count.

    Errors: ValidationError if a field refuses it.
    """
    opening.occurred_at = opening.opened_at
    return services.add(opening, by=by, action="opened for work", late=late)


def record_work(work: WorkRecord, *, by: Actor, late: bool = False) -> WorkRecord:
    """Record one act on an item. A failed one should lead on to raise_defect().

    Errors: ValidationError if a field refuses it, or if the rule is of another item.
    """
    if work.rule is not None and work.rule.equipment_id != work.equipment_id:
        raise ValidationError({"rule": _("This act is of another item. Choose one of this item.")})
    return services.add(work, by=by, action="work recorded", late=late)


def leads_to_defect(work: WorkRecord) -> bool:
    """Return whether the result of an act asks for a defect to be raised."""
    return work.result == WorkResult.FAILED


@transaction.atomic
def raise_defect(defect: Defect, *, by: Actor, late: bool = False) -> Defect:
    """Give a defect the site's next tag number and store it.

    Errors: ValidationError if a field refuses it, or the item or bank is of another site.
    """
    Site.objects.select_for_update().get(pk=defect.site_id)
    _of_one_site(defect)
    last = Defect.objects.filter(site=defect.site_id).aggregate(last=Max("number"))["last"]
    defect.number = (last or 0) + 1
    defect.occurred_at = defect.found_at
    return services.add(defect, by=by, action="defect raised", late=late)


@transaction.atomic
def correct_defect(old: Defect, new: Defect, *, by: Actor, reason: str) -> Defect:
    """Put ``new`` in the place of ``old`` under the same tag number.

    Errors: ValidationError as in raise_defect(); ChangedMeanwhileError if ``old`` no longer counts.
    """
    if old.returned_at is not None:
        raise ValidationError(_("Tag %(number)04d is returned to service and stays as it is. Raise a new defect.")
                              % {"number": old.number}, code="returned")  # fmt: skip
    _of_one_site(new)
    new.number = old.number
    new.occurred_at = new.found_at
    services.supersede(old, new, by=by, reason=reason)
    return new


def _of_one_site(defect: Defect) -> None:
    for name in ("equipment", "bank"):
        thing = getattr(defect, name)
        if thing is not None and thing.site_id != defect.site_id:
            raise ValidationError({name: _("This one belongs to another site. Choose one of this site.")})


@dataclass(frozen=True, slots=True)
class Return:
    """How an item comes back to service: what was done and tested, when, and who watched.

    Without a witness, ``alone_because`` says why there was none.
    """

    at: datetime
    done: str
    witness: str = ""
    alone_because: str = ""


@transaction.atomic
def return_to_service(defect: Defect, back: Return, *, by: Actor, shown_version: int) -> Defect:
    """End a defect, with a witness other than the one who returns it, or a recorded reason.

    Errors: ValidationError naming what is missing; ChangedMeanwhileError if somebody was faster.
    """
    _refuse_return(defect, back, by)
    note = back.done.strip()
    if not back.witness.strip():
        note = _("%(note)s Without a witness: %(why)s") % {"note": note, "why": back.alone_because.strip()}
    defect.returned_at = back.at
    defect.returned_by = by.name
    defect.return_note = note
    defect.witness = back.witness.strip()
    return services.change(defect, by=by, reason=note, shown_version=shown_version, action="returned to service")


def _refuse_return(defect: Defect, back: Return, by: Actor) -> None:
    if not defect.is_current or defect.returned_at is not None:
        raise ValidationError(_("This defect is no longer open. Look at it again."), code="not open")
    if back.at < defect.found_at:
        raise ValidationError({"at": _("The return lies before the defect was found. Give a later time.")})
    if not back.done.strip():
        raise ValidationError({"done": _("Say what was done and how it was tested.")})
    witness = back.witness.strip()
    if not witness and not back.alone_because.strip():
        raise ValidationError({"alone_because": _("Name a witness, or say why there was none.")})
    if witness.casefold() == by.name.strip().casefold():
        raise ValidationError({"witness": _("The witness must be another person than %(name)s, who returns it.")
                               % {"name": by.name}})  # fmt: skip
