"""Worksheets: oxygen dose of a table, and of a free list of segments."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import Output, Worksheet
from facility.compute.worksheet_inputs import choice, number, optional, rows
from treatments.compute.dose import Exposure, cns_fraction, esot, exposures, pulmonary_dose
from treatments.compute.profile import oxygen_minutes
from treatments.compute.tables import OXYGEN
from treatments.reference import figures, fractions
from treatments.reference.laws import NAVY, cns, conventions, esot_law, pulmonary
from treatments.worksheets.common import DEEPEST, DOSES, RUNS, TABLE_INPUTS, planned, rests_on, unconfirmed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from facility.compute.worksheet import Given
    from treatments.compute.dose import Convention

FOR_TABLES = (NAVY, "standard", "metric_atm", "metric_bar", "metric_rule")
FOR_DEPTHS = (NAVY, "standard", "msw_atm", "msw_rule")
EXPONENTS = ("5/6", *figures("dose")["pulmonary.other_exponents"].value)
FORMULA = _(
    "UPTD = integral of ((pO2 - 0.5) / 0.5)^(5/6) dt above 0.5, exact for straight ramps; CNS = integral of"
    " dt / limit(pO2), straight lines between the rows, nothing above 1.6; ESOT = integral of pO2^2.285 dt above 0.5"
)
SOURCE = "Unit pulmonary toxic dose, University of Pennsylvania; NOAA Diving Manual; ESOT proposal of 2022 (memory)"
EXPONENT = optional(choice("exponent", EXPONENTS, "5/6", _("exponent of the pulmonary dose")))
DOSE_OUTPUTS = (
    Output("uptd", "UPTD", _("unit pulmonary toxic dose of the whole")),
    Output("cns_percent", "%", _("of the single-exposure limits of divers at work; null outside the table")),
    Output("cns", "", _("the same in words")),
    Output("esot", "min", _("ESOT index, minutes at 1 atm; an extra, not a limit")),
    Output("convention", "", _("how depth became pressure; part of the result")),
)


def _title(key: str) -> str:
    return conventions()[key].title


def _convention(given: Given, keys: Sequence[str]) -> Convention:
    title = given.text("convention") or _title(NAVY)
    return next(conventions()[key] for key in keys if _title(key) == title)


def _exponent(given: Given) -> float | None:
    text = given.text("exponent") or EXPONENTS[0]
    return None if text == EXPONENTS[0] else float(text)


def _doses(history: Sequence[Exposure], given: Given, convention: Convention) -> dict[str, object]:
    fraction = cns_fraction(history, cns())
    return {
        "uptd": pulmonary_dose(history, pulmonary(_exponent(given))),
        "cns_percent": None if fraction is None else 100 * fraction,
        "cns": gettext("outside the table") if fraction is None else f"{100 * fraction:.1f} %",
        "esot": esot(history, esot_law()),
        "convention": convention.title,
    }


def _table_dose(given: Given) -> dict[str, object]:
    run = planned(given)
    convention = _convention(given, FOR_TABLES)
    on_oxygen = exposures([one for one in run.segments if one.gas == OXYGEN], fractions(), convention)
    return {
        **_doses(exposures(run.segments, fractions(), convention), given, convention),
        "uptd_on_oxygen": pulmonary_dose(on_oxygen, pulmonary(_exponent(given))),
        "oxygen_minutes": oxygen_minutes(run.segments),
        "table_minutes": run.table_minutes,
        "run_minutes": run.run_minutes,
        "unconfirmed_values": unconfirmed(run.table),
    }


def _segment_dose(given: Given) -> dict[str, object]:
    convention = _convention(given, FOR_DEPTHS)
    history = [_exposure(row, convention) for row in given.rows("segments")]
    law = pulmonary(_exponent(given))
    return {
        **_doses(history, given, convention),
        "minutes": sum(one.minutes for one in history),
        "each": [{"start_po2": one.start, "end_po2": one.end, "uptd": pulmonary_dose([one], law)} for one in history],
    }


def _exposure(row: Given, convention: Convention) -> Exposure:
    fraction = row.real("oxygen") / 100
    end = row.maybe("end_depth")
    start = row.real("start_depth")
    return Exposure(
        fraction * convention.absolute(start),
        fraction * convention.absolute(start if end is None else float(end)),
        row.real("minutes"),
    )


TABLE_DOSE = Worksheet(
    name="table_dose",
    title=_("Oxygen dose of a treatment table with extensions"),
    inputs=(
        *TABLE_INPUTS,
        optional(choice("convention", tuple(_title(key) for key in FOR_TABLES), _title(NAVY), _("depth to pressure"))),
        EXPONENT,
    ),
    outputs=(
        *DOSE_OUTPUTS,
        Output("uptd_on_oxygen", "UPTD", _("of it on oxygen")),
        Output("oxygen_minutes", "min", _("on oxygen")),
        Output("table_minutes", "min", _("by the clock of the table, without a descent that it does not count")),
        Output("run_minutes", "min", _("from leaving the surface, descent at the nominal rate")),
        Output("unconfirmed_values", "1", _("values of this table that are from memory")),
    ),
    source=SOURCE,
    formula=FORMULA,
    caution=f"{RUNS} {DOSES}",
    compute=_table_dose,
    rests_on=rests_on("dose"),
    from_memory=True,
)
SEGMENT_DOSE = Worksheet(
    name="segment_dose",
    title=_("Oxygen dose of a list of segments"),
    inputs=(
        rows(
            "segments",
            (
                number("start_depth", "fsw or msw", 60, DEEPEST, _("gauge, in the unit of the convention")),
                optional(number("end_depth", "fsw or msw", 30, DEEPEST, _("gauge; left out: a stop"))),
                number("minutes", "min", 30, ("0", "20160"), _("duration")),
                number("oxygen", "%", 100, ("0", "100"), _("oxygen breathed; air 21")),
            ),
            [
                {"start_depth": 60, "end_depth": 60, "minutes": 20, "oxygen": 100},
                {"start_depth": 60, "end_depth": 60, "minutes": 5, "oxygen": 21},
                {"start_depth": 60, "end_depth": 30, "minutes": 30, "oxygen": 100},
            ],
            _("stops and straight changes of depth, in order"),
        ),
        optional(choice("convention", tuple(_title(key) for key in FOR_DEPTHS), _title(NAVY), _("depth to pressure"))),
        EXPONENT,
    ),
    outputs=(
        *DOSE_OUTPUTS,
        Output("minutes", "min", _("of all segments")),
        Output("each", "", _("each segment: oxygen pressures and UPTD")),
    ),
    source=SOURCE,
    formula=FORMULA,
    caution=DOSES,
    compute=_segment_dose,
    rests_on=rests_on("dose"),
)
