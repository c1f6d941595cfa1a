"""Worksheets of runs: each computation usable by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treatments.worksheets.air import RUN_AIR, VALVE_TIMING, VENTILATION
from treatments.worksheets.atmosphere import CO2, PO2, TEMPERATURE_BAND
from treatments.worksheets.dose import SEGMENT_DOSE, TABLE_DOSE
from treatments.worksheets.gas import AIR_SUPPLY, GAS_DEMAND, OXYGEN_DEMAND
from treatments.worksheets.people import TENDER_OXYGEN, WAITS
from treatments.worksheets.plan import PLAN_DEMAND
from treatments.worksheets.pressure import DROP_TEST, PRESSURE_UNITS
from treatments.worksheets.profile import TABLE_PROFILE

if TYPE_CHECKING:
    from facility.compute.worksheet import Worksheet

WORKSHEETS: tuple[Worksheet, ...] = (
    TABLE_PROFILE,
    TABLE_DOSE,
    SEGMENT_DOSE,
    VENTILATION,
    RUN_AIR,
    VALVE_TIMING,
    OXYGEN_DEMAND,
    GAS_DEMAND,
    AIR_SUPPLY,
    TENDER_OXYGEN,
    WAITS,
    TEMPERATURE_BAND,
    CO2,
    PO2,
    PRESSURE_UNITS,
    DROP_TEST,
    PLAN_DEMAND,
)
