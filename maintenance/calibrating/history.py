"""The history of one instrument: its drift with uncertainty, where it leaves its limits, what intervals are proposed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from maintenance.calibrating.trail import with_newest_work
from maintenance.compute.distributions import coverage_factor
from maintenance.compute.drift import DriftError, crossing, crossing_with_uncertainty, fit
from maintenance.compute.drift_history import Found, levelled, shifts
from maintenance.compute.interval_review import Proposal, classical, control_chart, simple_response, staircase
from maintenance.models import Calibration, Equipment
from maintenance.worksheets.common import values
from maintenance.worksheets.review import DEFAULT_CONFIDENCE, FARTHEST

if TYPE_CHECKING:
    from collections.abc import Sequence

    from maintenance.compute.drift import Line

DAYS_A_MONTH = 365.25 / 12
MONTHS = 12
PROPOSED_FROM = 12  # months of a present interval where the item has no rule


@dataclass(frozen=True, slots=True)
class Entry:
    """One comparison of the history: its row, its figures, and whether the line goes through it."""

    row: Calibration
    found: Found | None
    shift: float = 0.0

    @property
    def level(self) -> float | None:
        """Return the error as found at the present level."""
        return None if self.found is None else self.found.error + self.shift


@dataclass(frozen=True, slots=True)
class Drift:
    """Everything about the drift of one instrument; ``line`` None where no line can be laid. Units: months."""

    first_on: date
    unit: str
    entries: tuple[Entry, ...]
    line: Line | None
    k: float | None
    limit: float | None
    guarded: float | None
    crosses: float | None
    crosses_guarded: float | None
    crosses_at_earliest: float | None

    def day(self, months: float | None) -> date | None:
        """Return the civil day of a time, fractions cut off; None for none."""
        return None if months is None else self.first_on + timedelta(days=int(months * DAYS_A_MONTH))

    @property
    def used(self) -> list[Entry]:
        """Return the comparisons that the line goes through."""
        return [one for one in self.entries if one.found is not None]

    @property
    def last(self) -> float:
        """Return the time of the last comparison used."""
        return self.used[-1].found.months if self.used else 0.0  # type: ignore[union-attr]  # used ones have figures


def drift_of(equipment: Equipment) -> Drift | None:
    """Return the drift of an instrument, None where it was never compared."""
    rows = Calibration.objects.current().filter(equipment=equipment)
    joined = rows.select_related("work__superseded_by", "work__rule", "equipment").order_by("done_on", "pk")
    return drift_from(with_newest_work(joined))


def drift_from(rows: Sequence[Calibration]) -> Drift | None:
    """Return the drift of comparisons in the order of their days.

    Left out of the line: what is in doubt, waits for a second look, is in another unit than the newest, or has no
    largest error. The limit is that of the newest comparison used.
    """
    if not rows:
        return None
    first_on, unit = rows[0].done_on, rows[-1].unit
    usable = [row for row in rows if _usable(row, unit)]
    history = [_found(row, first_on) for row in usable]
    moved = dict(zip((row.pk for row in usable), zip(history, shifts(history), strict=True), strict=True))
    entries = tuple(Entry(row, *moved.get(row.pk, (None, 0.0))) for row in rows)
    line = _line(history)
    limit, guarded = _limits(usable[-1]) if usable else (None, None)
    last = history[-1].months if history else 0.0
    return Drift(
        first_on, unit, entries, line,
        coverage_factor(DEFAULT_CONFIDENCE, line.freedom) if line is not None and line.freedom else None,
        limit, guarded,
        None if line is None or limit is None else _near(crossing(line, limit, last)),
        None if line is None or not guarded or guarded <= 0 else _near(crossing(line, guarded, last)),
        None if line is None or limit is None else _near(crossing_with_uncertainty(line, limit, last, DEFAULT_CONFIDENCE)),
    )  # fmt: skip


def _usable(row: Calibration, unit: str) -> bool:
    waits = row.work.needs_second_look and not row.work.second_look_by
    figures = row.computed.get("as_found", {}).get("largest_error", "") != ""
    return figures and row.unit == unit and row.work.doubted_by_id is None and not waits


def _found(row: Calibration, first_on: date) -> Found:
    run = row.computed["as_found"]
    return Found(
        (row.done_on - first_on).days / DAYS_A_MONTH, float(run["largest_error"]), left_error(row), run.get("expanded")
    )


def left_error(row: Calibration) -> float | None:
    """Return the error as left at the point that was worst as found, None where nothing was adjusted or is known."""
    left: dict[str, Any] | None = row.computed.get("as_left")
    if not row.adjusted or not left or left.get("largest_error", "") == "":
        return None
    at = row.computed["as_found"].get("largest_error_at")
    for point in left["points"]:
        if at is not None and Decimal(point["reference"]) == Decimal(at):
            errors = [point[name] for name in ("error_up", "error_down", "error_again") if point[name] != ""]
            return float(max(map(Decimal, errors), key=abs))
    return float(left["largest_error"])


def _line(history: list[Found]) -> Line | None:
    try:
        return fit([one.months for one in history], levelled(history))
    except DriftError:
        return None


def _limits(row: Calibration) -> tuple[float | None, float | None]:
    run = row.computed["as_found"]
    if not run.get("limit"):
        return None, None
    guarded = run.get("guarded_limit") if row.choices.get("decision_rule") != "simple" else None
    return float(run["limit"]), guarded


def _near(months: float | None) -> float | None:
    return None if months is None or months > FARTHEST else months


def present_interval(drift: Drift) -> tuple[int, bool]:
    """Return the present interval in months, and whether it is that of a rule."""
    rules = [one.row.work.rule for one in reversed(drift.entries) if one.row.work.rule is not None]
    months = next((rule.months for rule in rules if rule.months), 0)
    return (months, True) if months else (PROPOSED_FROM, False)


def proposals(drift: Drift, equipment: Equipment) -> list[Proposal]:
    """Return what each method proposes. Nothing is changed by it: a person decides.

    S1 counts the site's comparisons of like instruments that count.
    """
    if not drift.used or drift.limit is None:
        return []
    months, table = present_interval(drift)[0], values("interval_review.toml")
    target, increment = float(table["target"].number), float(table["a1.increment"].number)
    newest = drift.used[-1].row.computed["as_found"]
    error, limit = Decimal(newest["largest_error"]), Decimal(newest["limit"])
    ladder = [Decimal(step) for step in table["staircase.ladder"].value]
    good, tested = _share(equipment)
    found = [
        staircase(Decimal(months), error, limit, ladder, table["staircase.comfortable"].number),
        simple_response(months, increment, target, in_tolerance=abs(error) <= limit),
    ]
    if tested:
        found.append(classical(months, good, tested, target))
    if drift.line is not None:
        found.append(control_chart(drift.crosses_at_earliest, drift.last, drift.line.freedom))
    return found


def _share(equipment: Equipment) -> tuple[int, int]:
    like = Calibration.objects.current().filter(
        equipment__site=equipment.site_id, equipment__kind=equipment.kind, work__doubted_by=None
    )
    pasts = [computed.get("past") for computed in like.values_list("computed", flat=True)]
    return sum(past in {"pass", "conditional pass"} for past in pasts), len(pasts)
