"""Analyses of air and oxygen against the limit sets of several standards, side by side."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from decimal import Decimal


class Point(StrEnum):
    """Where the sample was taken."""

    OUTLET = "compressor outlet"
    CYLINDER = "cylinder"


class Odour(StrEnum):
    """What a person smelled."""

    NONE = "none"
    SLIGHT = "slight"
    OBJECTIONABLE = "objectionable"


class SampleVerdict(StrEnum):
    """What a limit set says of a sample."""

    PASSED = "pass"
    FAILED = "fail"
    INCOMPLETE = "not a pass: incomplete"


@dataclass(frozen=True, slots=True)
class Limit:
    """Limit of one parameter; None for none on a side. ``point`` and pressures [bar] say where it counts.

    A limit counts from ``from_bar``, above ``above_bar`` and up to ``to_bar`` (None: any).
    """

    parameter: str
    low: Decimal | None
    high: Decimal | None
    point: Point | None = None
    above_bar: Decimal | None = None
    to_bar: Decimal | None = None
    from_bar: Decimal | None = None

    def counts(self, point: Point, pressure_bar: Decimal) -> bool:
        """Whether this limit is meant for a sample of this point and pressure."""
        if self.point is not None and self.point is not point:
            return False
        if self.above_bar is not None and pressure_bar <= self.above_bar:
            return False
        if self.from_bar is not None and pressure_bar < self.from_bar:
            return False
        return self.to_bar is None or pressure_bar <= self.to_bar


@dataclass(frozen=True, slots=True)
class LimitSet:
    """One standard's limits for one gas."""

    key: str
    title: str
    limits: tuple[Limit, ...]
    odour: Odour | None = None  # the strongest that passes; None where odour is not limited


@dataclass(frozen=True, slots=True)
class Sample:
    """What was measured, by parameter; what was not measured is not in it."""

    values: Mapping[str, Decimal]
    odour: Odour | None
    point: Point
    pressure_bar: Decimal


@dataclass(frozen=True, slots=True)
class Judged:
    """A limit set's say: on what was measured, what is missing, what it does not limit here, and the whole."""

    key: str
    title: str
    measured: SampleVerdict
    exceeded: tuple[str, ...]
    missing: tuple[str, ...]
    not_limited_here: tuple[str, ...]
    verdict: SampleVerdict


def judge(sample: Sample, limits: LimitSet) -> Judged:
    """Judge one sample by one limit set; a value exactly at a limit passes.

    A parameter that the set limits and the sample lacks is no pass: it is named as missing.
    Units: those of the limit set (% O2, ppm, mg/m3).
    """
    here = [one for one in limits.limits if one.counts(sample.point, sample.pressure_bar)]
    exceeded = [one.parameter for one in here if _outside(one, sample.values.get(one.parameter))]
    missing = [one.parameter for one in here if one.parameter not in sample.values]
    if limits.odour is not None:
        if sample.odour is None:
            missing.append("odour")
        elif list(Odour).index(sample.odour) > list(Odour).index(limits.odour):
            exceeded.append("odour")
    named = {one.parameter for one in here}
    elsewhere = tuple(dict.fromkeys(one.parameter for one in limits.limits if one.parameter not in named))
    measured = SampleVerdict.FAILED if exceeded else SampleVerdict.PASSED
    whole = SampleVerdict.INCOMPLETE if measured is SampleVerdict.PASSED and (missing or elsewhere) else measured
    return Judged(limits.key, limits.title, measured, tuple(exceeded), tuple(missing), elsewhere, whole)


def judge_all(sample: Sample, sets: Sequence[LimitSet]) -> tuple[Judged, ...]:
    """Judge one sample by several limit sets; where they differ, both stand."""
    return tuple(judge(sample, one) for one in sets)


def _outside(limit: Limit, value: Decimal | None) -> bool:
    if value is None:
        return False
    return (limit.low is not None and value < limit.low) or (limit.high is not None and value > limit.high)
