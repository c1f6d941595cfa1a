"""What the worksheets of runs share: cautions, the inputs that choose a table, how an answer is said."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import InputError
from facility.compute.worksheet_inputs import choice, number, optional, whole
from treatments.compute.profile import Breaks, Choices, ProfileError, profile
from treatments.reference import FILES, figures, table, table_values

if TYPE_CHECKING:
    from facility.compute.reference import Sourced
    from facility.compute.worksheet import Given
    from treatments.compute.profile import Profile

RUNS = _(
    "Arithmetic for the log, never advice: it chooses no table, no dose and no decompression. Stop minutes from"
    " memory are unconfirmed until compared with your own printed handbook. The handbook in force, local codes and"
    " the physician prevail."
)
DOSES = _(
    "A dose is a figure of a stated convention, for the record. The CNS limits are of divers at work in water and"
    " must not be applied to a patient at rest in a dry chamber; the ESOT index is no limit. The physician decides."
)
CHAMBER = _(
    "Arithmetic from typed readings. Read the gauge and the analyser again before relying on it; local codes,"
    " the handbook in force, the supervisor and the physician prevail."
)
SUPPLY = _(
    "Ideal-gas rule of the handbook: at high pressure a bank of air really holds less. Judge a bank by its real"
    " content; the supervisor decides whether a run can start."
)
HANDBOOK = "U.S. Navy Diving Manual, revision 4A"
TABLES = tuple(FILES)
DEEPEST = ("0", "400")

TABLE = choice("table", TABLES, "TT6", _("treatment table"))
EXTENSIONS = (
    whole("extensions_at_60", "1", 1, ("0", "20"), _("extensions taken at 60 fsw")),
    whole("extensions_at_30", "1", 0, ("0", "20"), _("extensions taken at 30 fsw")),
)
TABLE_INPUTS = (
    TABLE,
    *EXTENSIONS,
    optional(choice("breaks", tuple(Breaks), "kept", _("air breaks of extensions, where the table lets them go"))),
    optional(number("first_stop_minutes", "min", None, (">0", "20160"), _("where the table gives a range"))),
    optional(number("depth_of_relief", "fsw", None, (">0", "400"), _("where the table stops at the depth of relief"))),
)
NAMES = {
    "extensions at 60 fsw": "extensions_at_60",
    "extensions at 30 fsw": "extensions_at_30",
    "first stop": "first_stop_minutes",
    "depth of relief": "depth_of_relief",
}


def planned(given: Given) -> Profile:
    """Return the profile that TABLE_INPUTS choose. Errors: InputError naming the input."""
    first, relief = given.maybe("first_stop_minutes"), given.maybe("depth_of_relief")
    choices = Choices(
        {60.0: given.whole("extensions_at_60"), 30.0: given.whole("extensions_at_30")},
        Breaks(given.text("breaks") or Breaks.KEPT),
        None if first is None else float(first),
        None if relief is None else float(relief),
    )
    try:
        return profile(table(given.text("table")), choices)
    except ProfileError as fault:
        raise InputError(NAMES.get(fault.what, fault.what), fault.value, fault.allowed) from None


def unconfirmed(key: str) -> int:
    """Return how many values of a table are from memory."""
    return sum(1 for one in table_values(key).values() if not one.confirmed)


def rests_on(file: str, *prefixes: str) -> tuple[Sourced, ...]:
    """Return the sourced values of a file whose names start with one of the prefixes; all without any."""
    return tuple(one for name, one in figures(file).items() if not prefixes or name.startswith(prefixes))


def not_stated() -> str:
    """Say that the handbook does not speak."""
    return gettext("not stated; ask the physician")


def said(*, answer: bool | None) -> str:
    """Say yes, no or not stated."""
    if answer is None:
        return not_stated()
    return gettext("yes") if answer else gettext("no")
