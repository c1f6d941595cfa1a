"""Work on fire protection: fire water, deluge, hand lines, extinguishers."""

from __future__ import annotations

from django.utils.translation import gettext as say
from django.utils.translation import gettext_lazy as _

from maintenance.compute.plant_tests import TestError, flow_density
from maintenance.working.kinds import (
    FLOWS,
    PRESSURES,
    Answered,
    Derived,
    Detail,
    KindOfWork,
    Limit,
    Line,
    Look,
    Quantity,
    Sum,
    WorkError,
    litres_a_minute,
    source_text,
    value,
)
from maintenance.working.kinds_pressure import text

FIRE = _(
    "The fire code of the place and the authority prevail; service of fire systems may need a licence. After a test"
    " have every valve back to normal and confirmed by a second person."
)
BACK = Look("valves", _("All valves back to normal, confirmed"))

FIRE_WATER = KindOfWork(
    "fire_water", caution=FIRE, equipment=("fire",),
    readings=(
        Quantity("level", _("Water in the tank"), ("L", "%", "m", "gal")),
        Quantity("pressure", _("Pressure on the water, gauge"), PRESSURES),
        Look("supply", _("Supply valves open and secured")),
        Look("alarm", _("Low-level and pressure alarms sound")),
    ),
)  # fmt: skip


def _deluge(given: Answered) -> Sum | None:
    flow, area = given.number("flow"), given.details["floor"]
    least = value("work_tests.toml", "deluge.density")
    try:
        density = None if flow is None else flow_density(litres_a_minute(flow, given.unit("flow")), area)
    except TestError as error:
        raise WorkError("floor", str(error)) from None
    on_floor = Derived(
        "density", say("Water on the floor"), density, least.unit, least.number, None, source_text(least)
    )
    lines = () if density is None else (Line(say("Water on the floor"), text(density, 1), least.unit),)
    return Sum(
        say("water on the floor = flow / floor area; 1 US gallon is %(litres)s L")
        % {"litres": value("work_tests.toml", "flow.us_gallon").number},
        lines,
        (on_floor,),
        (least,),
    )


DELUGE = KindOfWork(
    "deluge", caution=FIRE, equipment=("fire",), reckon=_deluge,
    readings=(
        Quantity("flow", _("Flow of all heads together"), FLOWS, limits=False),
        Quantity("delay", _("From the signal to water"), ("s",), high=Limit.of("deluge.delay")),
        Quantity("lasted", _("Water lasted"), ("s",), low=Limit.of("deluge.duration")),
        BACK,
    ),
    details=(Detail("floor", _("Floor area under the heads"), "number", needed=True, unit="m²", carry=True),),
)  # fmt: skip
HAND_LINE = KindOfWork(
    "hand_line", caution=FIRE, equipment=("fire",),
    readings=(
        Quantity("flow", _("Flow of one hand line"), FLOWS, low=Limit.of("hand_line.flow")),
        Quantity("over_chamber", _("Pressure above that of the chamber"), PRESSURES, low=Limit.of("hand_line.over_chamber")),
        Quantity("lasted", _("Water lasted"), ("min",), low=Limit.of("hand_line.duration")),
        BACK,
    ),
    details=(Detail("line", _("Which hand line"), carry=True),),
)  # fmt: skip
EXTINGUISHER = KindOfWork(
    "extinguisher", caution=FIRE, equipment=("fire",),
    readings=(
        Look("place", _("In its place, way to it free")),
        Look("seal", _("Pin and seal whole")),
        Look("gauge", _("Gauge in the green field"), _("Where it has no gauge, weigh it.")),
        Look("body", _("Body, hose and nozzle sound")),
        Quantity("weight", _("Weight"), ("kg", "lb"), needed=False),
    ),
    details=(
        Detail("made_on", _("Made on"), "day"), Detail("tested_on", _("Last pressure test"), "day"),
        Detail("serial", _("Number on the body"), carry=True),
    ),
)  # fmt: skip
