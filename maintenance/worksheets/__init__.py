"""Worksheets of upkeep: each computation usable by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from maintenance.worksheets.calibration import GAUGE_CALIBRATION
from maintenance.worksheets.due import INTERVAL_DUE
from maintenance.worksheets.gas import GAS_CONTENT
from maintenance.worksheets.hold import HOLD_TEST

if TYPE_CHECKING:
    from facility.compute.worksheet import Worksheet

WORKSHEETS: tuple[Worksheet, ...] = (
    GAS_CONTENT,
    INTERVAL_DUE,
    HOLD_TEST,
    GAUGE_CALIBRATION,
)
