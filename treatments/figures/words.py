"""What the figures call things, in the reader's language."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from treatments.compute.conformity import Departure

if TYPE_CHECKING:
    from collections.abc import Sequence


def departure_words(kind: Departure) -> str:
    """Say a departure."""
    return {
        Departure.FAST_ASCENT: _("fast ascent"),
        Departure.FAST_DESCENT: _("fast descent"),
        Departure.TOO_DEEP: _("deeper than planned"),
        Departure.SHORT_STOP: _("short stop"),
        Departure.LONG_STOP: _("long stop"),
        Departure.MISSED_STOP: _("missed stop"),
        Departure.UNPLANNED_STOP: _("stop that was not planned"),
        Departure.MISSED_OXYGEN: _("missed oxygen"),
        Departure.LATE_OXYGEN: _("late oxygen"),
        Departure.LATE_BREAK: _("late air break"),
        Departure.SHORT_BREAK: _("short air break"),
        Departure.LONG_BREAK: _("long air break"),
        Departure.OTHER_BREAKS: _("other number of air breaks"),
    }[kind]


def who_words(labels: Sequence[str]) -> str:
    """Say whom something concerns; nothing for the chamber."""
    return ", ".join(labels)


def wait_words(purpose: str) -> str:
    """Say what a wait is for."""
    said = {
        "next_run": _("next run as tender"),
        "no_stop_diving": _("diving without decompression stops"),
        "stop_diving": _("diving with decompression stops"),
        "flying": _("flying"),
        "beside_chamber": _("stays near the chamber"),
        "near_facility": _("within 60 min of a facility"),
        "observation": _("stays at the facility"),
    }
    return said.get(purpose, purpose.replace("_", " "))


def revision_words(revision: str) -> str:
    """Say a revision of the handbook."""
    return {"rev4a": _("revision 4A"), "rev6-7": _("revisions 6 and 7, from memory")}.get(revision, revision)
