"""How long the plot of a drift takes: the line, its crossings and the picture, from rows that are already fetched.

The limit is a design goal of this project; common practice, no source.
"""

from __future__ import annotations

import time
from datetime import date, timedelta
from decimal import Decimal
from math import sin

from facility.project.bench.result import Result
from maintenance.calibrating.history import drift_from
from maintenance.calibrating.plot_drift import drift_svg
from maintenance.models import Calibration, WorkRecord

CALIBRATIONS = 40
LIMIT_MS = 60.0
TIMES = 9
FIRST_ON = date(2007, 1, 15)
HALF_A_YEAR = timedelta(days=182)


def invented(count: int) -> list[Calibration]:
    """Return comparisons half a year apart that drift, scatter, and were adjusted every tenth time; none is stored."""
    rows = []
    for number in range(count):
        error = 0.01 * (number % 10) + 0.004 * sin(number)
        run = {"largest_error": f"{error:.4f}", "largest_error_at": "6", "limit": "0.16", "guarded_limit": 0.12,
               "expanded": 0.04, "points": []}  # fmt: skip
        adjusted = number % 10 == 9  # noqa: PLR2004  # every tenth
        rows.append(Calibration(
            pk=number, work=WorkRecord(pk=number), done_on=FIRST_ON + number * HALF_A_YEAR, unit="bar",
            scale_low=Decimal(0), scale_high=Decimal(10), adjusted=adjusted, choices={"decision_rule": "guarded"},
            computed={"as_found": run, "as_left": {"largest_error": "0.0000", "points": []} if adjusted else None},
        ))  # fmt: skip
    return rows


def plot() -> Result:
    """Measure the plot of the drift of one gauge with 40 comparisons, the best of several runs."""
    rows = invented(CALIBRATIONS)
    best = float("inf")
    for _ in range(TIMES):
        start = time.perf_counter()
        drift = drift_from(rows)
        if drift is None or not drift_svg(drift):
            raise RuntimeError("No picture was drawn.")
        best = min(best, time.perf_counter() - start)
    return Result("plot of the drift over 40 comparisons", best * 1000, LIMIT_MS, "ms")
