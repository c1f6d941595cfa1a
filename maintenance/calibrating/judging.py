"""What a comparison comes to: its readings judged by what was chosen beforehand, as on that day.

Numbers are kept as typed or as reckoned, so that each can be reckoned again by hand from the page.
"""

from __future__ import annotations

from decimal import Decimal
from math import isfinite
from typing import TYPE_CHECKING, Any

from facility.compute.units import kpa_from, pressure_to
from facility.compute.worksheet import Given
from facility.reference import units
from maintenance.calibrating.standing import Against, against
from maintenance.compute.calibration import Means, Point, calibrated, head_correction, with_head
from maintenance.compute.calibration_outcome import GOOD, outcome
from maintenance.compute.decisions import Decision, Rule, Verdict
from maintenance.compute.gauge_limits import Scale
from maintenance.compute.uncertainty import Component
from maintenance.models import Calibration, EquipmentKind, WorkResult
from maintenance.worksheets.calibration import LIMIT_KINDS, limits_of
from maintenance.worksheets.common import PRESSURE_UNITS, values

if TYPE_CHECKING:
    from collections.abc import Mapping

    from maintenance.compute.calibration import CalibrationResult, PointResult
    from maintenance.compute.gauge_limits import Limits
    from maintenance.models import ReferenceCertificate

PLACES = Decimal("0.00001")
COLUMNS = ("reference", "up", "down", "up_again")


def judged(row: Calibration) -> dict[str, Any]:
    """Return what a comparison comes to, as kept in ``computed``.

    Errors: InputError for an unknown class or grade; those of the computation.
    """
    found = run_of(row, row.as_found)
    left = run_of(row, row.as_left) if row.as_left else None
    says = outcome(found.verdict, left.verdict if left else None, adjusted=row.adjusted)
    doubts = [] if row.equipment.kind == EquipmentKind.CLOCK else against(row.certificate, row.done_on)
    return {
        "as_found": _run(found),
        "as_left": _run(left) if left else None,
        "past": says.past,
        "onward": says.onward,
        "look_back": says.look_back,
        "against": [str(one) for one in doubts],
        "certificate": _certificate(row.certificate),
        "result": str(result_of(says.onward, doubts)),
        "remarks": remarks(row, found),
    }


def result_of(onward: Verdict | None, doubts: list[Against]) -> WorkResult:
    """Return the result for the record of work.

    A bad word stays bad whatever the reference is worth; a good one counts only with a reference proven that day.
    Without a verdict for the time to come nothing is known.
    """
    if onward in {Verdict.FAILED, Verdict.CONDITIONALLY_FAILED}:
        return WorkResult.FAILED
    return WorkResult.PASSED if onward in GOOD and not doubts else WorkResult.UNREAD


def run_of(row: Calibration, typed: list[dict[str, str]]) -> CalibrationResult:
    """Judge one run, as found or as left."""
    points = with_head(points_of(typed), head_of(row))
    confidence = float(values("gauges.toml")["confidence"].number)
    return calibrated(
        points, Scale(row.scale_low, row.scale_high), limits_for(row.choices), means_of(row),
        (decision_of(row.choices), confidence),
    )  # fmt: skip


def points_of(typed: list[dict[str, str]]) -> tuple[Point, ...]:
    """Return the points as typed."""
    return tuple(
        Point(Decimal(one["reference"]), Decimal(one["up"]), *(_number(one.get(name)) for name in COLUMNS[2:]))
        for one in typed
    )


def limits_for(choices: Mapping[str, str]) -> Limits:
    """Return the limits that were chosen. Errors: InputError naming the class, grade or own limit."""
    own = _number(choices.get("own_limit"))
    return limits_of(Given({"limit_by": choices["limit_by"], "class_or_grade": choices.get("class_or_grade", ""),
                            "own_limit": own}))  # fmt: skip


def decision_of(choices: Mapping[str, str]) -> Decision:
    """Return the decision rule that was chosen."""
    factor, largest = _number(choices.get("guard_factor")), _number(choices.get("largest_uncertainty"))
    return Decision(
        Rule(choices["decision_rule"]),
        1.0 if factor is None else float(factor),
        None if largest is None else float(largest),
    )


def means_of(row: Calibration) -> Means:
    """Return what the comparison was made with, in the unit of its readings."""
    typed = row.means
    others = tuple(Component(one["name"], float(one["value"])) for one in typed.get("others", []))
    return Means(
        float(typed["reference_expanded"]), float(typed["reference_k"]), float(typed["resolution"]),
        float(typed.get("zero_shift") or 0), float(typed.get("reference_drift") or 0), others,
    )  # fmt: skip


def head_of(row: Calibration) -> Decimal:
    """Return what is added to each reference value for the height between reference and instrument.

    Units: that of the readings. Source: maintenance/reference/gauges.toml [head].
    """
    height, density = _number(row.means.get("head_height_m")), _number(row.means.get("fluid_density"))
    if not height or density is None or row.unit not in PRESSURE_UNITS:
        return Decimal(0)
    table = values("gauges.toml")
    air, gravity = (float(table[f"head.{name}"].number) for name in ("air_density", "gravity"))
    kpa = Decimal(str(head_correction(float(density), air, gravity, float(height))))
    return pressure_to(kpa, row.unit, units()).quantize(PLACES)


def converted(value: Decimal, unit: str, wanted: str) -> Decimal | None:
    """Return a pressure difference in another unit, the value itself for the same unit, None where there is no way."""
    if unit == wanted:
        return value
    if unit in PRESSURE_UNITS and wanted in PRESSURE_UNITS:
        return pressure_to(kpa_from(value, unit, units()), wanted, units()).quantize(PLACES)
    return None


def remarks(row: Calibration, found: CalibrationResult) -> list[str]:
    """Return codes of what a reader should know; calibrating/words.py says them."""
    told = []
    table = values("gauges.toml")
    choices = row.choices
    if choices["limit_by"] == LIMIT_KINDS[0]:
        coarse = Decimal(choices["class_or_grade"]) >= table["points.finest_coarse_class"].number
        if len(row.as_found) < int(table["points.coarse" if coarse else "points.fine"].number):
            told.append("few points")
    if not any(one.get("down") for one in row.as_found) and row.equipment.kind != EquipmentKind.CLOCK:
        told.append("no falling")
    if found.hysteresis > min(one.limit for one in found.points):
        told.append("hysteresis over limit")
    if choices["limit_by"] == LIMIT_KINDS[1]:
        told.append("grade from memory")
    if any(not row.scale_low <= one.point.reference <= row.scale_high for one in found.points):
        told.append("outside scale")
    return told


def _number(text: str | None) -> Decimal | None:
    return Decimal(text) if text not in (None, "") else None


def _certificate(one: ReferenceCertificate | None) -> dict[str, str]:
    if one is None:
        return {}
    return {
        "pk": str(one.pk), "reference": str(one.reference), "owner": one.reference.owner, "number": one.number,
        "issuer": one.issuer, "accreditation": one.accreditation, "calibrated_on": one.calibrated_on.isoformat(),
        "due_on": one.due_on.isoformat() if one.due_on else "", "expanded_uncertainty": str(one.expanded_uncertainty),
        "coverage_factor": str(one.coverage_factor), "unit": one.unit,
    }  # fmt: skip


def _run(result: CalibrationResult) -> dict[str, Any]:
    worst, budget = result.worst, result.budget
    return {
        "verdict": result.verdict,
        "largest_error": str(worst.point.worst),
        "largest_error_at": str(worst.point.reference),
        "limit": str(worst.limit),
        "guarded_limit": result.guarded_limit,
        "hysteresis": str(result.hysteresis),
        "repeatability": str(result.repeatability),
        "combined": budget.combined,
        "freedom": budget.freedom_used if isfinite(budget.freedom_used) else None,
        "k": budget.k,
        "expanded": budget.expanded,
        "conformance": worst.conformance,
        "ratio": result.ratio,
        "points": [_point(one) for one in result.points],
        "budget": [
            {"component": one.name, "value": one.value, "shape": str(one.shape), "k": one.k, "standard": one.standard}
            for one in budget.components
        ],
    }


def _point(one: PointResult) -> dict[str, Any]:
    point = one.point
    again = None if point.up_again is None else point.up_again - point.reference
    return {
        "reference": str(point.reference), "up": str(point.up), "down": _text(point.down),
        "up_again": _text(point.up_again), "error_up": str(point.error_up), "error_down": _text(point.error_down),
        "error_again": _text(again), "hysteresis": _text(point.hysteresis), "limit": str(one.limit),
        "verdict": one.verdict, "conformance": one.conformance,
    }  # fmt: skip


def _text(value: Decimal | None) -> str:
    return "" if value is None else str(value)
