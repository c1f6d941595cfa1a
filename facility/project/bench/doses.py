"""The oxygen dose of a run, against the clock.

Limit: one millisecond for 60 segments, so that a dose never delays a log; a design goal of this project, no source.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from facility.project.bench.result import Result
from treatments.compute.dose import cns_fraction, esot, exposures, pulmonary_dose
from treatments.compute.profile import Choices, profile
from treatments.reference import fractions, table
from treatments.reference.laws import NAVY, cns, conventions, esot_law, pulmonary

if TYPE_CHECKING:
    from collections.abc import Callable

SEGMENTS = 60
LIMIT_MS = 1.0
ROUNDS = 50


def dose_of_sixty(rounds: int = ROUNDS) -> Result:
    """Pulmonary dose, CNS fraction and ESOT of a run of 60 segments, the best of several."""
    segments = (profile(table("TT6"), Choices({60: 2, 30: 2})).segments * 6)[:SEGMENTS]
    law, limits, index, convention, gases = pulmonary(), cns(), esot_law(), conventions()[NAVY], fractions()

    def all_three() -> None:
        history = exposures(segments, gases, convention)
        pulmonary_dose(history, law)
        cns_fraction(history, limits)
        esot(history, index)

    taken = min(_milliseconds(all_three) for _ in range(rounds))
    return Result("dose of a 60-segment run", taken, LIMIT_MS, "ms", "pulmonary dose, CNS fraction and ESOT together")


def _milliseconds(act: Callable[[], None]) -> float:
    begun = time.process_time()
    act()
    return 1000 * (time.process_time() - begun)
