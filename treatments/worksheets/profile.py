"""Worksheet: the planned profile of a table with its extensions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_noop as _

from facility.compute.worksheet import InputError, Output, Worksheet
from facility.compute.worksheet_inputs import number, optional
from treatments.compute.profile import ProfileError, depth_at, gas_at, oxygen_minutes, steps
from treatments.reference import table
from treatments.worksheets.common import HANDBOOK, RUNS, TABLE_INPUTS, planned, unconfirmed

if TYPE_CHECKING:
    from facility.compute.worksheet import Given
    from treatments.compute.profile import Profile


def _compute(given: Given) -> dict[str, object]:
    run = planned(given)
    shipped = table(run.table)
    return {
        "title": shipped.title,
        "body": shipped.body,
        "revision": shipped.revision,
        "stop_time_begins": shipped.clock,
        "table_minutes": run.table_minutes,
        "run_minutes": run.run_minutes,
        "descent_minutes": run.descent.minutes,
        "oxygen_minutes": oxygen_minutes(run.segments),
        "segments": _rows(run),
        "stops": [{"depth": one.depth_fsw, "arrive": one.arrive_min, "leave": one.leave_min} for one in steps(run)],
        **_at(run, given),
        "unconfirmed_values": unconfirmed(run.table),
    }


def _rows(run: Profile) -> list[dict[str, object]]:
    return [
        {
            "from_minute": end - one.minutes,
            "to_minute": end,
            "start_depth": one.start_fsw,
            "end_depth": one.end_fsw,
            "minutes": one.minutes,
            "gas": one.gas,
        }
        for one, end in zip(run.segments, run.ends, strict=True)
    ]


def _at(run: Profile, given: Given) -> dict[str, object]:
    minute = given.maybe("minute")
    if minute is None:
        return {"depth_at_minute": None, "gas_at_minute": None}
    try:
        return {"depth_at_minute": depth_at(run, float(minute)), "gas_at_minute": gas_at(run, float(minute))}
    except ProfileError as fault:
        raise InputError("minute", fault.value, fault.allowed) from None


TABLE_PROFILE = Worksheet(
    name="table_profile",
    title=_("Planned profile of a treatment table"),
    inputs=(
        *TABLE_INPUTS,
        optional(number("minute", "min", 100, ("0", "40320"), _("from leaving the surface: depth and gas then"))),
    ),
    outputs=(
        Output("title", "", _("name of the table")),
        Output("body", "", _("who publishes it")),
        Output("revision", "", _("edition")),
        Output("stop_time_begins", "", _("when the clock of a stop starts")),
        Output("table_minutes", "min", _("by the clock of the table, without a descent that it does not count")),
        Output("run_minutes", "min", _("from leaving the surface, descent at the nominal rate")),
        Output("descent_minutes", "min", _("of the compression")),
        Output("oxygen_minutes", "min", _("on oxygen")),
        Output("segments", "", _("each segment with its minutes from leaving the surface; depths fsw")),
        Output("stops", "", _("each stop: depth in fsw, minutes of arriving and leaving")),
        Output("depth_at_minute", "fsw", _("planned depth then")),
        Output("gas_at_minute", "", _("planned gas then")),
        Output("unconfirmed_values", "1", _("values of this table that are from memory")),
    ),
    source=f"{HANDBOOK}, treatment tables (figures from memory); generic protocols: common practice, no source",
    formula=_("stops and ascents of the table in order, extensions put in before their depth is left, descent first"),
    caution=RUNS,
    compute=_compute,
    from_memory=True,
)
