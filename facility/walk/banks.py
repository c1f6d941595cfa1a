"""The reading of a gas bank that a step of a check carries with it."""

from __future__ import annotations

from decimal import ROUND_DOWN, Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from facility import services
from maintenance.models import BankReading, GasBank
from maintenance.services import record_reading

if TYPE_CHECKING:
    from facility.events import Actor
    from facility.models import Answer, Site

MOST = Decimal(9_999_999)
HUNDREDTH = Decimal("0.01")


def read_bank(
    answer: Answer, bank_key: str, site: Site, *, by: Actor, instead_of: Answer | None = None
) -> BankReading | None:
    """Store the bank's reading of an answer; a correction supersedes the reading of the old answer.

    Units: the answer's own; what is finer than a hundredth is cut off, the answer keeps it.
    A pressure that no bank can hold, or a bank the site no longer has, stays with the answer
    alone: the answer itself is never lost for it.
    """
    old = BankReading.objects.filter(answer=instead_of, retired_at=None).first() if instead_of else None
    bank = GasBank.objects.filter(site=site, key=bank_key, retired_at=None).first()
    pressure = Decimal(answer.value) if answer.value else None
    if bank is None or pressure is None or not 0 <= pressure < MOST:
        if old is not None:
            services.retire(old, by=by, reason=str(_("Its reading in a check was corrected.")))
        return None
    reading = BankReading(
        bank=bank, read_at=answer.occurred_at or answer.recorded_at, read_by=by.name, answer=answer,
        pressure=pressure.quantize(HUNDREDTH, ROUND_DOWN), unit=answer.unit, occurred_at=answer.occurred_at,
    )  # fmt: skip
    if old is not None:
        services.supersede(old, reading, by=by, reason=str(_("Corrected in the check.")))
        return reading
    return record_reading(reading, by=by)
