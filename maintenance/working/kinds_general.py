"""Work that any item may ask for: inspection, function test, replacement, oxygen cleaning, expiry, return test."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as say
from django.utils.translation import gettext_lazy as _

from facility.compute.typed import TypedError
from maintenance.compute.plant_tests import day_or_month
from maintenance.compute.readings import Outcome
from maintenance.working.kinds import CAUTION, Answered, Derived, Detail, KindOfWork, Line, Look, Sum, WorkError, value

OWN = 4
CLEANED = (("yes", _("yes")), ("no", _("no")), ("not needed", _("not needed")))

INSPECTION = KindOfWork("inspection", own_readings=OWN, details=(
    Detail("looked_at", _("What was looked at, and what was found"), "lines"),
))  # fmt: skip
FUNCTION = KindOfWork("function_test", own_readings=OWN, details=(
    Detail("conditions", _("Under which conditions"), about=_("Pressure, gas, load, as in use.")),
))  # fmt: skip
OTHER = KindOfWork("other", own_readings=OWN)
CALIBRATION = KindOfWork(
    "calibration", own_readings=OWN, about=_("A calibration with its points and its reference has its own page.")
)
RETURN_TEST = KindOfWork("return_test", own_readings=OWN, details=(
    Detail("conditions", _("Under which conditions"), about=_("Pressure, gas, load, as in use.")),
))  # fmt: skip
REPLACEMENT = KindOfWork(
    "replacement", own_readings=2,
    readings=(Look("works", _("Works after it was fitted, no leak")),),
    details=(
        Detail("part", _("What was replaced"), needed=True),
        Detail("old_serial", _("Serial number of the old one")),
        Detail("new_serial", _("Serial number of the new one")),
        Detail("made_on", _("New one made on"), "day"),
        Detail("cleaned_for_oxygen", _("New one cleaned for oxygen"), "choice", CLEANED, needed=True),
        Detail("certificate", _("Number of its certificate")),
    ),
)  # fmt: skip


def _cleaning(given: Answered) -> Sum | None:
    above = value("work_tests.toml", "oxygen_cleaning.above")
    line = Line(say("Asked for gas with oxygen above"), str(above.number), "%")
    return Sum(say("cleaning is asked before first service and after repair, alteration or suspected contamination"),
               (line,), (), (above,))  # fmt: skip


OXYGEN_CLEANING = KindOfWork(
    "oxygen_cleaning", reckon=_cleaning,
    readings=(
        Look("white_light", _("Clean under white light")),
        Look("black_light", _("Nothing glows under ultraviolet light")),
        Look("wipe", _("White cloth stays clean")),
        Look("sealed", _("Dried, blown through with oil-free gas, sealed until fitted")),
    ),
    details=(
        Detail("agent", _("Cleaned with"), needed=True),
        Detail("procedure", _("By which procedure and edition"), needed=True),
        Detail("why", _("Why"), "choice", (
            ("first service", _("before first service")), ("repair", _("after a repair")),
            ("alteration", _("after an alteration")), ("suspected", _("contamination suspected")), ("routine", _("routine")),
        ), needed=True),
    ),
    caution=_("Dirt, oil or a wrong solvent in oxygen can burn and kill. Clean by an approved procedure, by people"
              " trained for it; the maker and the local code prevail."),
)  # fmt: skip


def _expiry(given: Answered) -> Sum:
    rows, derived = [], []
    for number, line in enumerate(given.details["items"].splitlines(), 1):
        if not line.strip():
            continue
        name, batch, until = _of_line(number, line)
        rows.append((until, name, batch))
        gone = Outcome.OUTSIDE if until < given.done_on else Outcome.WITHIN
        derived.append(Derived(f"item_{number}", f"{name} {batch}".strip(), None, until.isoformat(), outcome=gone))
    if not rows:
        raise WorkError("items", _("Write at least one line: name; batch; last day."))
    first = min(rows)
    lines = tuple(Line(f"{name} {batch}".strip(), until.isoformat()) for until, name, batch in sorted(rows))
    remark = say("First to run out: %(what)s, good through %(day)s.") % {"what": first[1], "day": first[0].isoformat()}
    return Sum(say("next due = first last day of all; a thing is good through its last day"), lines, tuple(derived), (),
               (remark,), first[0] if first[0] >= given.done_on else None)  # fmt: skip


def _of_line(number: int, line: str) -> tuple[str, str, Any]:
    parts = [part.strip() for part in line.split(";")]
    if len(parts) != 3 or not parts[0]:  # noqa: PLR2004  # name, batch, last day
        raise WorkError("items", _("Line %(number)d: “%(line)s”. Write name; batch; last day.")
                        % {"number": number, "line": line[:60]})  # fmt: skip
    try:
        until, _month = day_or_month(parts[2])
    except TypedError:
        raise WorkError("items", _("Line %(number)d: “%(day)s” is no day. Type it as 30 Nov 2027 or Nov 2027.")
                        % {"number": number, "day": parts[2][:40]}) from None  # fmt: skip
    return parts[0], parts[1], until


EXPIRY = KindOfWork(
    "expiry", reckon=_expiry, equipment=("medical_kit",),
    readings=(Look("complete", _("Complete by its list, restocked")), Look("seal", _("Sealed again"))),
    details=(
        Detail("items", _("What is in it, and its last day"), "lines", needed=True,
               about=_("One a line: name; batch; last day. For example: Saline 0.9 % 500 mL; 4711; Nov 2027.")),
        Detail("opened", _("It was opened"), "yes"),
    ),
    caution=_("Drugs past their last day are replaced, and so is an opened vial that was under pressure. What is given"
              " to whom is the physician's decision."),
)  # fmt: skip

__all__ = ["CALIBRATION", "CAUTION", "CLEANED", "EXPIRY", "FUNCTION", "INSPECTION", "OTHER", "OXYGEN_CLEANING",
           "REPLACEMENT", "RETURN_TEST"]  # fmt: skip
