"""Whether a look may put an act off, and in which words it may not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from facility.fields import day_text
from maintenance.compute.intervals import end_of_month
from maintenance.upkeep.state import detail

if TYPE_CHECKING:
    from datetime import date

    from maintenance.models import IntervalRule
    from maintenance.upkeep.state import On


@dataclass(frozen=True, slots=True)
class Look:
    """A look at an item: its day, and whether no corrosion or damage was found."""

    on: date
    clean: bool


def judge_look(rule: IntervalRule, look: Look, on: On) -> None:
    """Refuse a look that cannot put the act off. One that found damage is always taken: it ends all putting off.

    Errors: ValidationError naming the day that decides.
    """
    state, terms, past = detail(rule, on)
    found = state.reckoned.put_off
    if not terms.may_be_put_off:
        raise ValidationError(_("This act may not be put off: its rule names no deferral. Record the act itself."))
    if found is None:
        raise ValidationError(_("This act was never recorded, so there is nothing to put off. Record the act itself."))
    if not look.clean:
        return
    said = {"due": day_text(found.due_on), "stop": day_text(found.hard_stop_on), "look": day_text(look.on)}
    if any(not one.clean for one in past.looks if one.on > past.acts[-1].done_on):
        raise ValidationError(_("An earlier look found damage: that ended all putting off. It was due %(due)s.") % said)
    if found.due_on >= found.hard_stop_on:
        raise ValidationError(
            _(
                "The hard stop is %(stop)s, and it is put off to that day already. No look puts it off further: do the act."
            )
            % said
        )
    seen = end_of_month(look.on) if past.acts[-1].month_only else look.on
    if seen < found.due_on:
        raise ValidationError(
            {"looked_on": _("A look on %(look)s puts nothing off: the act is due %(due)s, and only a look on that day"
                            " or later does. Record an earlier look as work.") % said}
        )  # fmt: skip
