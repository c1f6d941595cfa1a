"""Made-up recordings of a planned profile: noise, drift, spikes, a coarse gauge, gaps."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from treatments.compute.profile import Profile


@dataclass(frozen=True, slots=True)
class Flaws:
    """What is wrong with a recording. Units: fsw, fsw a minute, share of samples, fsw, minutes, seconds."""

    noise: float = 0.15
    drift: float = 0.0
    spikes: float = 0.0
    step: float = 0.0
    gap: tuple[float, float] | None = None
    every_s: int = 1
    wait_s: int = 0


def record(run: Profile, flaws: Flaws, seed: int = 1) -> tuple[list[float], list[float]]:
    """Return times in seconds and depths in fsw of a run; the first ``wait_s`` seconds are at the surface."""
    chance = Random(seed)  # noqa: S311 - noise of a made-up gauge
    times: list[float] = []
    depths: list[float] = []
    for second in range(0, int(run.run_minutes * 60) + flaws.wait_s + 1, flaws.every_s):
        minute = (second - flaws.wait_s) / 60
        if flaws.gap is not None and flaws.gap[0] < minute < flaws.gap[1]:
            continue
        depth = _planned(run, minute) + chance.gauss(0, flaws.noise) + flaws.drift * minute
        if chance.random() < flaws.spikes:
            depth += chance.choice((-30, 30))
        times.append(float(second))
        depths.append(round(depth / flaws.step) * flaws.step if flaws.step else depth)
    return times, depths


def _planned(run: Profile, minute: float) -> float:
    """Walk the segments by hand, apart from the program's own depth_at()."""
    if minute <= 0:
        return 0.0
    for one in run.segments:
        if minute <= one.minutes:
            return one.start_fsw + (one.end_fsw - one.start_fsw) * minute / one.minutes
        minute -= one.minutes
    return 0.0
