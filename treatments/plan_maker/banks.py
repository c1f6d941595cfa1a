"""The banks of a chamber beside what a plan would need of them, by real gas, as they were last read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility import house
from facility.templatetags.deepstead import minutes, plain_number
from maintenance.gas_room.content import bank_states

if TYPE_CHECKING:
    from datetime import datetime

    from maintenance.gas_room.content import BankState
    from treatments.plan_maker.working import Amount, Worked


@dataclass(frozen=True, slots=True)
class BankLine:
    """One bank against one gas of a plan: its state, what is needed, and the word with its mark."""

    state: BankState
    needed: int | None
    mark: str
    words: str


def bank_lines(worked: Worked, at: datetime) -> tuple[BankLine, ...]:
    """Return each bank that serves the chamber, beside the gas that the plan needs of it."""
    limit = int(house.values(worked.chamber.site)["bank_age_min"])
    amounts = {one.gas: one for one in worked.amounts if one.needed != 0}
    return tuple(
        _line(state, amounts[state.bank.gas])
        for state in bank_states(worked.chamber.site, at, limit)
        if state.bank.gas in amounts and state.bank.chamber_id in (None, worked.chamber.pk)
    )


def _line(state: BankState, amount: Amount) -> BankLine:
    needed = amount.needed
    if state.tag:
        return BankLine(state, needed, "tag", _("out of service, tag %s: counts for nothing") % state.tag)
    if needed is None:
        return BankLine(state, needed, "unknown", _("not known: the need is not stated"))
    if not state.counting or state.age_min is None:
        return BankLine(state, needed, "unknown", _("not known: no cylinder counts"))
    if state.too_old:
        return BankLine(state, needed, "unknown", _("not known: read %s ago, too old") % minutes(state.age_min))
    left = state.litres - needed
    said = {"litres": plain_number(abs(left)), "age": minutes(state.age_min)}
    if left >= 0:
        return BankLine(state, needed, "indate", _("enough: %(litres)s L left over, read %(age)s ago") % said)
    return BankLine(state, needed, "stop", _("too little: %(litres)s L missing, read %(age)s ago") % said)
