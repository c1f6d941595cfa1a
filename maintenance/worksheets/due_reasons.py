"""Why something falls due, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext

from facility.counted import counted
from maintenance.compute.due import Cause

if TYPE_CHECKING:
    from maintenance.compute.deferral import Deferred
    from maintenance.compute.due import Side


def sentence(side: Side, unit: str) -> str:
    """Return one side in words."""
    if side.cause in (Cause.COUNTER, Cause.LIFE_COUNT):
        return _of_counter(side, unit)
    if side.cause is Cause.EVENT:
        return gettext("Event: %(kind)s on %(day)s asks for it anew.") % {"kind": side.event, "day": side.due_on}
    if side.cause is Cause.LIFE_AGE:
        return gettext("Life by age ends after %(day)s.") % {"day": side.due_on}
    text = gettext("Calendar: good through %(day)s.") % {"day": side.due_on}
    if side.anchor_kept is True:
        text += " " + gettext("Done inside its window, so it is reckoned from the day it had been due.")
    if side.anchor_kept is False:
        text += " " + gettext("Not done inside a window, so it is reckoned from the day it was done.")
    return text


def of_deferral(found: Deferred) -> str:
    """Return a deferral in words."""
    words = {
        "first": found.first_due_on,
        "due": found.due_on,
        "stop": found.hard_stop_on,
        "times": counted(found.times, "time", "times"),
    }
    return gettext("Due %(first)s, put off %(times)s to %(due)s by clean inspections, never past %(stop)s.") % words


def _of_counter(side: Side, unit: str) -> str:
    words = {"limit": side.limit, "unit": unit, "day": side.due_on}
    if side.reached:
        return gettext("Counter: %(limit)s %(unit)s reached on %(day)s.") % words
    if side.projected:
        return gettext("Counter: %(limit)s %(unit)s will be reached on about %(day)s at the present use.") % words
    return gettext("Counter: due at %(limit)s %(unit)s; no rate of use, so no date.") % words
