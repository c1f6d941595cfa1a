"""The words in which a verification is told: never one verdict, and always what is not proved."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

if TYPE_CHECKING:
    from facility.pack.checking import Outcome, Statement


@dataclass(frozen=True, slots=True)
class Line:
    """One statement in words. ``mark``: the shape that stands before it."""

    mark: str
    title: str
    said: str
    problems: tuple[tuple[str, str], ...]


def titles() -> dict[str, str]:
    """Return what each statement says."""
    return {
        "files": _("The files are unchanged since the pack was made."),
        "events": _("The events told here belong to the log, in their places."),
        "signature": _("File list and log are signed by the key with the fingerprint below."),
        "older_files": _("Older pack: its files are unchanged."),
        "older_events": _("Older pack: its events belong to its log."),
        "older_signature": _("Older pack: it is signed by a key that it brings along."),
        "continues": _("The log goes on from the older pack or signed head: its first events lead to that."),
    }


def line_of(one: Statement) -> Line:
    """Return a statement in words."""
    said = {True: _("holds"), False: _("does not hold"), None: _("not checked")}[one.holds]
    mark = {True: "indate", False: "over", None: "due"}[one.holds]
    return Line(mark, titles().get(one.key, one.key), said, one.problems)


def lines(outcome: Outcome) -> list[Line]:
    """Return every statement in words."""
    return [line_of(one) for one in outcome.statements]


def not_proved() -> list[str]:
    """Return what no verification shows."""
    return [
        _("That a reading was true, or that what was done was right."),
        _("That something was entered at all: see the gaps in the report."),
        _("That the key is the facility's own: compare its fingerprint with the wall sheet and with earlier packs."),
        _("That nothing was built anew after the newest signed head that somebody outside the facility holds."),
    ]
