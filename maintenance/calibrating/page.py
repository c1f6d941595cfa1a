"""The parts of the page and the paper of one comparison, ready to be shown."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext

from maintenance.calibrating.plot import MINUS, NARROW, PAGE, WIDE, Palette
from maintenance.calibrating.plot_errors import errors_svg
from maintenance.calibrating.standing import Against
from maintenance.calibrating.trail import below
from maintenance.calibrating.words import (
    COMPONENTS,
    LIMITS,
    RULES,
    SHAPES,
    SOURCES,
    remark_words,
    said,
    verdict_mark,
    verdict_words,
)
from maintenance.models import EquipmentKind

if TYPE_CHECKING:
    from maintenance.calibrating.history import Entry
    from maintenance.models import Calibration

FIGURES = 4  # significant figures of what was reckoned


@dataclass(frozen=True, slots=True)
class RunShown:
    """One run ready to be shown: its name, verdict, figures, points, budget, and pictures."""

    name: str
    mark: str
    words: str
    figures: dict[str, Any]
    points: list[dict[str, Any]]
    budget: list[dict[str, str]]
    wide: str
    narrow: str


def parts_of(row: Calibration, palette: Palette = PAGE) -> dict[str, Any]:
    """Return everything that the page of a comparison shows."""
    computed, choices = row.computed, row.choices
    runs = [
        run_shown(row, name, computed[key], palette)
        for name, key in (("found", "as_found"), ("left", "as_left"))
        if computed.get(key)
    ]
    limit_by = choices.get("limit_by", "")
    return {
        "row": row, "equipment": row.equipment, "runs": runs, "computed": computed, "choices": choices,
        "mark": mark_of(row), "stands": words_of(row), "clock": row.equipment.kind == EquipmentKind.CLOCK,
        "past_words": verdict_words(computed.get("past")), "onward_words": verdict_words(computed.get("onward")),
        "against": [Against(one).words for one in computed.get("against", [])],
        "remarks": [remark_words(one) for one in computed.get("remarks", [])],
        "certificate": certificate_shown(computed.get("certificate", {})),
        "limit_words": said(LIMITS, limit_by) if limit_by else "",
        "limit_figure": f"{choices.get('own_limit')} {row.unit}" if limit_by == "own limit" else choices.get("class_or_grade", ""),
        "rule_words": said(RULES, choices["decision_rule"]) if choices.get("decision_rule") else "",
        "rule_source": SOURCES.get(choices.get("decision_rule", ""), ""),
        "chain": below(row.certificate) if row.certificate is not None else [],
    }  # fmt: skip


def mark_of(row: Calibration) -> str:
    """Return the mark of a comparison as it stands now: in doubt or waiting it is not known."""
    if doubtful(row) or row.work.result == "could not read":
        return "unknown"
    return verdict_mark(row.computed.get("onward"))


def words_of(row: Calibration) -> str:
    """Return the words of a comparison as it stands now; only one in no doubt has the words of its verdict."""
    if row.work.doubted_by_id is not None:
        return gettext("In doubt")
    if row.work.needs_second_look and not row.work.second_look_by:
        return gettext("Waits for a second look")
    if row.work.result == "could not read" and row.computed.get("against"):
        return gettext("Not known: the reference was not proven that day")
    return verdict_words(row.computed.get("onward"))


def doubtful(row: Calibration) -> bool:
    """Return whether a comparison is in doubt or waits for a second look."""
    waits = row.work.needs_second_look and not row.work.second_look_by
    return row.work.doubted_by_id is not None or waits


def certificate_shown(kept: dict[str, str]) -> dict[str, Any]:
    """Return a certificate as it was on that day, its days as dates."""
    days = {name: date.fromisoformat(kept[name]) for name in ("calibrated_on", "due_on") if kept.get(name)}
    return kept | days


def run_shown(row: Calibration, name: str, run: dict[str, Any], palette: Palette) -> RunShown:
    """Return one run ready to be shown; a laboratory's own has no points and no picture."""
    points = run.get("points", [])
    worst = run.get("largest_error_at")
    shown = [
        point
        | {name: signed(point[name]) for name in ("error_up", "error_down", "error_again")}
        | {
            "is_worst": point["reference"] == worst,
            "verdict": verdict_words(point["verdict"]),
            "chance": f"{point['conformance']:.4f}",
        }
        for point in points
    ]  # fmt: skip
    drawn = bool(points) and row.equipment.kind != EquipmentKind.CLOCK
    return RunShown(
        name, verdict_mark(run["verdict"]), verdict_words(run["verdict"]), figures_of(run), shown, budget_of(run),
        *(errors_svg(row, run, width, palette) if drawn else "" for width in (WIDE, NARROW)),
    )  # fmt: skip


def figures_of(run: dict[str, Any]) -> dict[str, Any]:
    """Return the figures of a run: typed ones as typed, reckoned ones with four significant figures."""
    reckoned = ("guarded_limit", "combined", "k", "expanded", "conformance", "ratio")
    more = {name: rounded(run.get(name)) for name in reckoned}
    return run | more | {"largest_error": signed(run.get("largest_error", ""))}


def signed(text: str) -> str:
    """Return an error with its sign, a true minus."""
    return text.replace("-", MINUS) if text.startswith("-") else f"+{text}" if text.strip("0.") else text


def budget_of(run: dict[str, Any]) -> list[dict[str, str]]:
    """Return the components of the uncertainty in words."""
    return [
        {
            "component": said(COMPONENTS, one["component"]), "shape": said(SHAPES, one["shape"]),
            "value": rounded(one["value"]), "k": rounded(one["k"]) if one["shape"] == "normal" else "",
            "standard": rounded(one["standard"]),
        }
        for one in run.get("budget", [])
    ]  # fmt: skip


def rounded(value: float | None) -> str:
    """Return a reckoned number with four significant figures, nothing for none."""
    if value is None:
        return ""
    text = f"{value:.{FIGURES}g}"
    plain = f"{float(text):f}".rstrip("0").rstrip(".") if "e" in text else text
    return plain.replace("-", MINUS)


def entry_shown(entry: Entry) -> dict[str, Any]:
    """Return one comparison of a history ready to be shown."""
    run = entry.row.computed.get("as_found") or {}
    left = entry.found.left if entry.found is not None else None
    return {
        "row": entry.row, "found": signed(run.get("largest_error", "")), "expanded": rounded(run.get("expanded")),
        "left": rounded(left), "level": rounded(entry.level), "used": entry.found is not None,
    }  # fmt: skip
