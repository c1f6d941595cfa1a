"""Work on power, alarms and analysers: generator, battery, alarm set-point, analyser check."""

from __future__ import annotations

from decimal import Decimal

from django.utils.translation import gettext as say
from django.utils.translation import gettext_lazy as _

from maintenance.compute.plant_tests import oxygen_error_bar
from maintenance.working.kinds import (
    Answered,
    Derived,
    Detail,
    KindOfWork,
    Line,
    Look,
    Quantity,
    Sum,
    source_text,
    value,
)
from maintenance.working.kinds_pressure import text

TABLE = "work_tests.toml"

GENERATOR = KindOfWork(
    "generator", equipment=("electrical",),
    readings=(
        Quantity("fuel", _("Fuel in the tank"), ("%", "L", "gal"), house_low="generator_fuel_percent"),
        Quantity("start", _("From mains failure to power"), ("s",)),
        Quantity("voltage", _("Voltage under load"), ("V",)),
        Quantity("frequency", _("Frequency under load"), ("Hz",)),
        Quantity("load", _("Load"), ("kW", "%"), needed=False),
        Quantity("minutes", _("Ran under load for"), ("min",)),
        Quantity("hours", _("Hour meter"), ("h",), needed=False, limits=False),
        Look("change", _("Change-over to and back from mains worked")),
    ),
)  # fmt: skip
BATTERY = KindOfWork(
    "battery", equipment=("electrical", "communication"),
    readings=(
        Quantity("rest", _("Voltage at rest"), ("V",)),
        Quantity("loaded", _("Voltage under load"), ("V",)),
        Quantity("minutes", _("Carried the load for"), ("min",)),
        Quantity("load", _("Load"), ("W", "A"), needed=False),
        Look("terminals", _("Terminals clean and tight, case sound")),
    ),
    details=(Detail("made_on", _("Made on"), "day"), Detail("serial", _("Serial number"))),
)  # fmt: skip

WATCHES = (
    ("carbon monoxide", _("carbon monoxide in compressor air, ppm")),
    ("chamber oxygen high", _("oxygen in the chamber, too much, %")),
    ("chamber oxygen low", _("oxygen in the chamber, too little, %")),
    ("carbon dioxide", _("carbon dioxide")), ("pressure", _("pressure")), ("level", _("level")), ("other", _("other")),
)  # fmt: skip
_HIGHEST = {"carbon monoxide": "alarm.carbon_monoxide", "chamber oxygen high": "alarm.oxygen"}


def _set_point(given: Answered) -> Sum:
    new, unit, watched = given.details["new"], given.details["unit"], given.details["watches"]
    change = Line(say("Set-point"), f"{text(given.details['old'])} → {text(new)}", unit)
    formula = say("the new set-point against the highest that the source allows")
    name = _HIGHEST.get(watched)
    if name is None:
        return Sum(formula, (change,))
    most = value(TABLE, name)
    if unit != most.unit:
        return Sum(formula, (change,), remarks=(say("The known limit is in %(unit)s; this one was not held against it.")
                                                % {"unit": most.unit},))  # fmt: skip
    judged = Derived("set_point", say("New set-point"), new, unit, None, most.number, source_text(most))
    other = value(TABLE, "alarm.oxygen_other")
    remarks: tuple[str, ...] = ()
    if name == "alarm.oxygen" and new > other.number:
        remarks = (say("Others ask to stop at %(limit)s %%: %(source)s. The site and its authority decide.")
                   % {"limit": other.number, "source": source_text(other)},)  # fmt: skip
    return Sum(formula, (change,), (judged,), (most,), remarks)


SET_POINT = KindOfWork(
    "set_point", equipment=("alarm", "analyser"), reckon=_set_point,
    about=_("Each change stays on record with the name of the person who made it."),
    readings=(
        Quantity("sounded", _("Sounded at, with a test gas or a test signal"), ("", "ppm", "%", "bar", "psi"), needed=False),
        Look("alarm", _("Heard and seen where it must be")),
    ),
    details=(
        Detail("watches", _("What the alarm watches"), "choice", WATCHES, needed=True, carry=True),
        Detail("old", _("Set-point as found"), "number", needed=True),
        Detail("new", _("Set-point as left"), "number", needed=True),
        Detail("unit", _("Unit of both"), needed=True, about=_("For example ppm or %."), carry=True),
        Detail("why", _("Why it was changed, or left"), needed=True),
        Detail("approved_by", _("Approved by")),
    ),
    caution=_("An alarm that is a nuisance is a finding about the gas, the sensor or the room. Do not move its set-point"
              " to keep it quiet; the maker's paper and the authority say where it belongs."),
)  # fmt: skip


def _analyser(given: Answered) -> Sum | None:
    shown, true = given.number("span"), given.details.get("span_true")
    zero, zero_true = given.number("zero"), given.details.get("zero_true")
    which = "analyser.oxygen" if given.details["gas"] == "O2" else "analyser.carbon_dioxide"
    limit, atmosphere = value(TABLE, which), value(TABLE, "analyser.atmosphere")
    pressure = given.details.get("pressure_bar") or atmosphere.number
    scale = Decimal(1) if given.details["gas"] == "O2" else Decimal(10_000)  # percent, or ppm as parts of a percent
    pairs = (
        ("zero_error", say("Error at the first point"), zero, zero_true),
        ("span_error", say("Error at the second point"), shown, true),
    )
    derived, lines = [], []
    for name, label, read, stated in pairs:
        if read is None or stated is None:
            continue
        error = oxygen_error_bar(read / scale, stated / scale, pressure)
        lines.append(Line(label, text(error, 5), "bar"))
        derived.append(Derived(name, label, error, "bar", -limit.number, limit.number, source_text(limit)))
    if not derived:
        return None
    used = (limit,) if given.details.get("pressure_bar") else (limit, atmosphere)
    return Sum(say("error = (shown - stated) as a fraction, times the pressure of the gas in bar absolute"),
               tuple(lines), tuple(derived), used)  # fmt: skip


ANALYSER = KindOfWork(
    "analyser", equipment=("analyser",), reckon=_analyser,
    readings=(
        Quantity("zero", _("Shown on the first gas, for oxygen air"), ("%", "ppm")),
        Quantity("span", _("Shown on the second gas, for oxygen pure oxygen"), ("%", "ppm")),
        Quantity("after", _("Shown on the second gas after adjusting"), ("%", "ppm"), needed=False),
    ),
    details=(
        Detail("gas", _("Analyser of"), "choice", (("O2", _("oxygen, in %")), ("CO2", _("carbon dioxide, in ppm"))), needed=True, carry=True),
        Detail("zero_true", _("First gas, as stated on its paper"), "number", needed=True, carry=True),
        Detail("span_true", _("Second gas, as stated on its paper"), "number", needed=True),
        Detail("pressure_bar", _("Pressure of the gas at the cell"), "number", unit=_("bar absolute"), about=_("Empty: one atmosphere.")),
        Detail("adjusted", _("Adjusted"), "yes"),
        Detail("cell", _("Serial number of the cell"), carry=True),
        Detail("cell_until", _("Cell good until"), "day", carry=True),
    ),
    caution=_("Check before each use and at intervals during a run. The maker's limit prevails where it is closer."),
)  # fmt: skip
