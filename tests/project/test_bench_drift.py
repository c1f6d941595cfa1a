"""The rows of the drift benchmark are such as the plot has to deal with."""

from __future__ import annotations

from facility.project.bench import drift
from maintenance.calibrating.history import drift_from


def test_the_drift_benchmark_draws_forty_comparisons_with_a_line_that_crosses() -> None:
    rows = drift.invented(drift.CALIBRATIONS)
    found = drift_from(rows)
    assert found is not None
    assert len(found.used) == 40
    assert found.line is not None
    assert found.crosses is not None
    assert sum(one.found is not None and one.found.left is not None for one in found.used) == 4


def test_the_drift_benchmark_tells_its_ratio_to_sixty_milliseconds() -> None:
    """Design goal of this project; common practice, no source. The machine may be busy: only a wide margin is asked."""
    result = drift.plot()
    assert (result.limit, result.unit) == (60.0, "ms")
    assert 0 < result.ratio < 5
