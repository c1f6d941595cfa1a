"""Acts of upkeep: readings, openings, work done, defects, their repair and their return to service."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from facility import services
from maintenance.services.defects import correct_defect, raise_defect
from maintenance.services.returning import Return, add_repair, return_after_test, return_to_service
from maintenance.services.work import (
    asks_for_defect,
    confirm_days,
    correct_work,
    leads_to_defect,
    record_work,
    refuse_days,
    same_person,
)

if TYPE_CHECKING:
    from facility.events import Actor
    from maintenance.models import BankReading, Opening

__all__ = [
    "Return",
    "add_opening",
    "add_repair",
    "asks_for_defect",
    "confirm_days",
    "correct_defect",
    "correct_work",
    "leads_to_defect",
    "raise_defect",
    "record_reading",
    "record_work",
    "refuse_days",
    "return_after_test",
    "return_to_service",
    "same_person",
]  # fmt: skip


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
