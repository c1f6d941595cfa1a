"""Work on what holds pressure: hold test, relief valve, hose, cylinder requalification, viewport."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext as say
from django.utils.translation import gettext_lazy as _

from facility.compute.units import pressure_to
from facility.reference import load, units
from maintenance.compute.hold_test import Basis, Hold, HoldError, HoldLimit, HoldVerdict, hold_result
from maintenance.compute.plant_tests import TestError, relief
from maintenance.compute.readings import Outcome
from maintenance.compute.requalification import (
    MonthRule,
    StarFacts,
    StarLaw,
    pressure_of_test,
    requalification_due,
    star_faults,
)
from maintenance.reference import FOLDER
from maintenance.working.kinds import (
    PRESSURES,
    Answered,
    Derived,
    Detail,
    KindOfWork,
    Line,
    Look,
    Quantity,
    Sum,
    WorkError,
    source_text,
    told,
    value,
)

if TYPE_CHECKING:
    from maintenance.compute.hold_test import HoldResult

TABLE = "work_tests.toml"


def text(number: Decimal, places: int = 3) -> str:
    """Return a number with at most ``places`` decimals and no zeros behind them."""
    rounded = f"{number:.{places}f}"
    return rounded.rstrip("0").rstrip(".") if "." in rounded else rounded


def _hold(given: Answered) -> Sum | None:
    start, end, from_c, to_c, minutes = (
        given.number(name) for name in ("start", "end", "start_c", "end_c", "minutes")
    )  # fmt: skip
    if start is None or end is None or from_c is None or to_c is None or minutes is None:
        return None
    unit = given.unit("start")
    if given.unit("end") != unit:
        raise WorkError("end", _("Read both pressures in one unit: the first is in %(unit)s.") % {"unit": unit})
    table = load(FOLDER / "hold_test.toml")
    atmosphere = given.number("atmosphere") or pressure_to(table["atmosphere"].number, unit, units())
    percent, lowest = given.number("limit_percent"), given.number("lowest_end")
    if percent is None and lowest is None:
        percent = table["rule_of_thumb.drop"].number
    asked = given.number("required_minutes") or table["rule_of_thumb.minutes"].number
    limit = HoldLimit(percent, Basis(given.details["percent_of"]), lowest, asked)
    try:
        found = hold_result(Hold(start, end, atmosphere, from_c, to_c, minutes), limit, table["celsius_zero"].number)
    except HoldError as error:
        raise WorkError("start", str(error)) from None
    return _hold_sum(found, given, limit)


def _hold_sum(found: HoldResult, given: Answered, limit: HoldLimit) -> Sum:
    unit = given.unit("start")
    outcome = {HoldVerdict.PASSED: Outcome.WITHIN, HoldVerdict.FAILED: Outcome.OUTSIDE}.get(
        found.verdict, Outcome.UNREAD
    )  # fmt: skip
    drop = Derived("drop", say("Drop as read"), found.drop, unit, None, found.allowed_drop, outcome=outcome)
    remarks = [
        say("As read the pressure fell by %(drop)s %(unit)s; at the starting temperature it would have fallen by"
            " %(true)s %(unit)s. The verdict rests on the readings as taken.")
        % {"drop": text(found.drop), "true": text(found.corrected_drop), "unit": unit}
    ]  # fmt: skip
    if found.verdict is HoldVerdict.TOO_SHORT:
        remarks.append(say("Held %(held)s min of %(asked)s min: it says nothing yet. Hold it again for the whole time.")
                       % {"held": given.number("minutes"), "asked": limit.minutes})  # fmt: skip
    return Sum(
        formula=say("drop = start - end; corrected end = (end + atmosphere) x start temperature / end temperature,"
                    " in kelvin, - atmosphere; percent of the %(basis)s start") % {"basis": limit.basis},
        lines=(
            Line(say("Drop, percent of the %(basis)s start") % {"basis": limit.basis}, text(found.drop_percent), "%"),
            Line(say("Largest drop that passes"), text(found.allowed_drop), unit),
            Line(say("End at the starting temperature, gauge"), text(found.corrected_end), unit),
            Line(say("Drop without the temperature's part"), text(found.corrected_drop), unit),
        ),
        derived=(drop,), rests_on=tuple(load(FOLDER / "hold_test.toml").values()), remarks=tuple(remarks),
    )  # fmt: skip


HOLD = KindOfWork(
    "hold_test",
    about=_("Leave the lock alone for the whole time; note the gas temperature inside at both readings."),
    readings=(
        Quantity("start", _("Pressure when the hold began, gauge"), PRESSURES, limits=False),
        Quantity("end", _("Pressure when it ended, gauge"), PRESSURES, limits=False),
        Quantity("start_c", _("Temperature inside when it began"), ("°C",), limits=False),
        Quantity("end_c", _("Temperature inside when it ended"), ("°C",), limits=False),
        Quantity("minutes", _("Held for"), ("min",), limits=False),
    ),
    details=(
        Detail("percent_of", _("The percentage is of which starting pressure"), "choice",
               (("gauge", _("gauge")), ("absolute", _("absolute"))), needed=True, about=_("There is no usual one."), carry=True),
        Detail("limit_percent", _("Largest drop"), "number", unit="%",
               about=told(_("Empty, with no lowest end pressure either: {drop} % by rule of thumb."), "hold_test.toml", drop="rule_of_thumb.drop"), carry=True),
        Detail("lowest_end", _("Lowest end pressure that passes, gauge"), "number", about=_("In the unit of the readings.")),
        Detail("required_minutes", _("Time it has to be held"), "number", unit="min", about=told(_("Empty: {minutes} minutes."), "hold_test.toml", minutes="rule_of_thumb.minutes"), carry=True),
        Detail("atmosphere", _("Barometer"), "number", about=_("In the unit of the readings. Empty: one atmosphere.")),
    ),
    reckon=_hold, equipment=("vessel", "door_seal", "valve"),
)  # fmt: skip


def _relief(given: Answered) -> Sum | None:
    opened, shut = given.number("opened"), given.number("reseated")
    if opened is None:
        return None
    unit = given.unit("opened")
    if shut is not None and given.unit("reseated") != unit:
        raise WorkError("reseated", _("Read both pressures in one unit: the first is in %(unit)s.") % {"unit": unit})
    tolerance = value(TABLE, "relief_valve.tolerance")
    typed = given.number("tolerance_percent")
    setting = given.details["setting"]
    try:
        found = relief(setting, opened, shut, tolerance.number if typed is None else typed)
    except TestError as error:
        raise WorkError("reseated" if shut is not None and shut > opened else "setting", str(error)) from None
    source = source_text(tolerance) if typed is None else say("typed with the record")
    lines = [Line(say("Opened off its setting by"), text(found.deviation_percent), "%")]
    if found.blowdown_percent is not None:
        lines.append(Line(say("Blowdown, of the opening pressure"), text(found.blowdown_percent), "%"))
    opening = Derived("opening", say("Opening pressure"), opened, unit, found.low, found.high, source)
    return Sum(
        say(
            "may open from setting x (1 - tolerance) to setting x (1 + tolerance); blowdown = (opened - shut) / opened"
        ),
        tuple(lines),
        (opening,),
        (tolerance,) if typed is None else (),
    )


RELIEF = KindOfWork(
    "relief_valve",
    readings=(
        Quantity("opened", _("Opened at, gauge"), PRESSURES, limits=False),
        Quantity("reseated", _("Shut again at, gauge"), PRESSURES, needed=False, limits=False),
        Look("gag", _("Gag valve wired open, tag renewed"), _("Tag with set pressure, date and testing body.")),
    ),
    details=(
        Detail("setting", _("Set pressure on its tag, gauge"), "number", needed=True, about=_("In the unit of the readings."), carry=True),
        Detail("tolerance_percent", _("May open off by"), "number", unit="%", about=told(_("Empty: {tolerance} %, unconfirmed."), TABLE, tolerance="relief_valve.tolerance"), carry=True),
        Detail("body", _("Testing body"), carry=True),
    ),
    reckon=_relief, equipment=("relief_valve",),
)  # fmt: skip


def _hose(given: Answered) -> Sum | None:
    factor = value(TABLE, "hose.factor")
    working, tested = given.details["working"], given.number("tested")
    needed = working * factor.number
    unit = given.unit("tested")
    test = Derived("test_pressure", say("Test pressure"), tested, unit, needed, None, source_text(factor))
    formula = say("least test pressure = maximum working pressure x %(factor)s") % {"factor": factor.number}
    return Sum(formula, (Line(say("Least test pressure"), text(needed), unit),), (test,), (factor,))


HOSE = KindOfWork(
    "hose",
    readings=(
        Quantity("tested", _("Tested at, gauge"), PRESSURES, limits=False),
        Quantity("held", _("Held for"), ("min",), needed=False),
        Look("sound", _("No leak, bulge, cut or other damage, end fittings tight")),
    ),
    details=(
        Detail("working", _("Maximum working pressure, gauge"), "number", needed=True, about=_("In the unit of the test."), carry=True),
        Detail("made_on", _("Made on"), "day"),
    ),
    reckon=_hose, equipment=("hose",),
)  # fmt: skip

NO_STAR = "dot-3aa-10-star"


def _cylinder(given: Answered) -> Sum:
    table = load(FOLDER / "cylinders.toml")
    key = given.details["scheme"]
    years = table[f"years.{key}"]
    span, remarks, used = int(years.number), [], [years]
    if key == NO_STAR:
        faults = _star(given)
        if faults:
            used.append(table["star.years_without"])
            span = int(table["star.years_without"].number)
            remarks.append(say("The star does not hold: %(why)s. %(years)d years count.")
                           % {"why": "; ".join(faults), "years": span})  # fmt: skip
    due = requalification_due(given.done_on, span, month_only=given.month_only, rule=MonthRule.END)
    derived, lines = [], [Line(say("Good through"), due.isoformat()), Line(say("Years by the rule"), str(span))]
    service, tested = given.number("service"), given.number("tested")
    if key.startswith("dot-3aa") and service is not None:
        up, down = table["test_pressure.numerator"], table["test_pressure.denominator"]
        needed = pressure_of_test(service, int(up.number), int(down.number))
        used += [up, down]
        derived.append(Derived("test_pressure", say("Test pressure"), tested, given.unit("tested"), needed, None,
                               source_text(up)))  # fmt: skip
        lines.append(Line(say("Least test pressure"), text(needed), given.unit("tested")))
    formula = say("good through = stamp + years, at the end of the month where only the month is stamped;"
                  " test pressure of steel 3A and 3AA = service pressure x %(up)s / %(down)s") % {
                      "up": table["test_pressure.numerator"].number, "down": table["test_pressure.denominator"].number}  # fmt: skip
    return Sum(formula, tuple(lines), tuple(derived), tuple(used), tuple(remarks), due)


def _star(given: Answered) -> list[str]:
    table = load(FOLDER / "cylinders.toml")
    made, litres = given.details.get("made_on"), given.details.get("water_litres")
    if made is None or litres is None:
        missing = "made_on" if made is None else "water_litres"
        raise WorkError(missing, _("The star asks for it. Read it off the shoulder."))
    law = StarLaw(
        table["star.largest_litres"].number, int(table["star.oldest_years"].number),
        int(table["years.dot-3aa-10-star"].number), int(table["star.years_without"].number),
    )  # fmt: skip
    ticked = [bool(given.details.get(name)) for name in ("out_of_cluster", "hammer_tested", "dry_gas")]
    return [str(one) for one in star_faults(StarFacts(made, litres, *ticked), law, given.done_on)]


def _schemes() -> tuple[tuple[str, str], ...]:
    table = load(FOLDER / "cylinders.toml")
    return tuple(
        (name.removeprefix("years."), f"{one.meaning}: {one.number} y ({one.where})")
        for name, one in table.items() if name.startswith("years.")
    )  # fmt: skip


REQUALIFICATION = KindOfWork(
    "requalification",
    about=_("The day is that of the stamp; type Apr 2026 where only month and year are stamped."),
    readings=(
        Quantity("tested", _("Tested at, gauge"), PRESSURES, needed=False, limits=False),
        Look("sound", _("Outside and inside sound, thread good, valve works")),
    ),
    details=(
        Detail("scheme", _("Under which rule"), "choice", _schemes(), needed=True, carry=True),
        Detail("mark", _("Mark or serial on the shoulder"), needed=True, carry=True),
        Detail("service", _("Service pressure, gauge"), "number", about=_("In the unit of the test."), carry=True),
        Detail("made_on", _("Made on"), "day", about=_("Asked for a cylinder with the star.")),
        Detail("water_litres", _("Water capacity"), "number", unit="L", about=_("Asked for a cylinder with the star.")),
        Detail("out_of_cluster", _("Taken out of its cluster when filled"), "yes"),
        Detail("hammer_tested", _("Hammer-tested before each filling"), "yes"),
        Detail("dry_gas", _("Holds one of the listed dry gases"), "yes"),
    ),
    reckon=_cylinder, equipment=("store",),
)  # fmt: skip
