"""Worksheets of upkeep: each computation usable by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from maintenance.worksheets.air import AIR_LIMITS
from maintenance.worksheets.calibration import GAUGE_CALIBRATION
from maintenance.worksheets.counts import HIDDEN_FAILURE, IN_DATE_CHANCE, MTBF, SPARES, TWO_CLOCKS, TWO_GAUGES
from maintenance.worksheets.due import INTERVAL_DUE
from maintenance.worksheets.gas import GAS_CONTENT
from maintenance.worksheets.hold import HOLD_TEST
from maintenance.worksheets.life import CYLINDER_REQUALIFICATION, WINDOW_LIFE
from maintenance.worksheets.people import CERTIFICATE_RENEWAL
from maintenance.worksheets.review import DRIFT, INTERVAL_REVIEW
from maintenance.worksheets.uncertain import CONFORMANCE, HEAD_CORRECTION, UNCERTAINTY_BUDGET

if TYPE_CHECKING:
    from facility.compute.worksheet import Worksheet

WORKSHEETS: tuple[Worksheet, ...] = (
    GAS_CONTENT,
    AIR_LIMITS,
    HOLD_TEST,
    INTERVAL_DUE,
    WINDOW_LIFE,
    CYLINDER_REQUALIFICATION,
    GAUGE_CALIBRATION,
    DRIFT,
    INTERVAL_REVIEW,
    UNCERTAINTY_BUDGET,
    CONFORMANCE,
    HEAD_CORRECTION,
    TWO_GAUGES,
    TWO_CLOCKS,
    MTBF,
    SPARES,
    HIDDEN_FAILURE,
    IN_DATE_CHANCE,
    CERTIFICATE_RENEWAL,
)
