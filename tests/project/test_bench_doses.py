"""The measurement of doses measures what it says."""

from __future__ import annotations

from facility.project.bench import BENCHMARKS
from facility.project.bench.doses import dose_of_sixty


def test_the_dose_of_sixty_segments_is_measured_against_a_millisecond() -> None:
    found = dose_of_sixty(20)
    assert (found.limit, found.unit) == (1.0, "ms")
    assert found.measured > 0
    assert found.within
    assert "run-dose" in BENCHMARKS
