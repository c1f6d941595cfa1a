"""What cylinders hold by the real-gas law, against the ideal-law formula; a ratio of one run.

Limit: a design goal of this project; common practice, no source.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from facility.project.bench.result import Result
from maintenance.compute.gas import ideal_kg, usable_litres
from maintenance.reference import gas_law

if TYPE_CHECKING:
    from collections.abc import Callable

GAS_LIMIT = 60.0
CALLS = 20_000
STATES = [(float(kpa), float(celsius)) for kpa in (500, 7_000, 15_000, 20_000, 30_000) for celsius in (0, 15, 40)]


def gas_content(calls: int = CALLS) -> Result:
    """Usable content of 50 L cylinders at fifteen states, per call, against the ideal-law formula per call."""
    law = gas_law("AIR")

    def real() -> None:
        for kpa, celsius in STATES:
            usable_litres(law, 50.0, kpa, celsius, minimum_gauge_kpa=700.0)

    def ideal() -> None:
        for kpa, celsius in STATES:
            ideal_kg(law, 50.0, kpa, celsius)

    rounds = max(1, calls // len(STATES))
    taken, floor = (min(_seconds(act, rounds) for _ in range(5)) for act in (real, ideal))
    note = f"{taken / (rounds * len(STATES)) * 1e6:.1f} µs a call"
    return Result("gas content by the real law against the ideal", taken / floor, GAS_LIMIT, "times", note)


def _seconds(act: Callable[[], None], rounds: int) -> float:
    begun = time.process_time()
    for _ in range(rounds):
        act()
    return time.process_time() - begun
