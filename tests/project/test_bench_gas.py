"""The measurement of gas content: it measures both, and keeps its limit."""

from __future__ import annotations

from facility.project.bench import BENCHMARKS
from facility.project.bench.gas import gas_content


def test_gas_content_takes_at_most_sixty_times_the_ideal_law() -> None:
    """Limit: a design goal of this project; common practice, no source."""
    found = gas_content(3_000)
    assert found.limit == 60
    assert found.measured > 1
    assert found.within
    assert BENCHMARKS["gas-content"] is gas_content
