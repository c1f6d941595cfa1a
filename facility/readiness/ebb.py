"""Geometry of the picture of time on the Now page: where each bar, line and label stands.

Pure: an evaluation in its plain shape and an instant in, frozen values out; the template only prints
them. Across, everything is in per cent of the width, so that lines stretch with the page and text
never does. The scale is ours: 24 hours on 66 %, six days on 18 %, ten weeks on 16 %.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from facility.compute.instants import Instant, parse_instant
from facility.readiness.axis import FAR_END, FAR_MIN, Axis, axis_of, percent, position
from facility.readiness.labels import Label, beside, inside, of_need, of_run_bar
from facility.readiness.times import of_run, until

LINES = 3
OPEN, CLOSED, ASKED = "open", "closed", "asked"
_KIND = {"Ready": OPEN, "Ready with limits": OPEN, "Not ready": CLOSED, "Not known": ASKED}
_MISSING = {"stops": gettext_noop("missing"), "not known": gettext_noop("not known")}


@dataclass(frozen=True, slots=True)
class Bar:
    """A run or a closed time: from ``x`` over ``width``, both in per cent as printed."""

    x: str
    width: str
    end: float


@dataclass(frozen=True, slots=True)
class NeedLine:
    """One need: a line from now to where it ends."""

    key: str
    name: str
    until: str
    x: str
    first: bool
    endless: bool
    label: Label


@dataclass(frozen=True, slots=True)
class Ebb:
    """The whole picture of one plan. What is None is not drawn."""

    kind: str
    axis: Axis
    now_bar: Bar | None
    now_label: Label | None
    may: str | None
    last_bar: Bar | None
    last_label: Label | None
    closed: Bar | None
    later_bar: Bar | None
    later_label: Label | None
    needs: tuple[NeedLine, ...]


@dataclass(frozen=True, slots=True)
class _Frame:
    """What every part of one picture is drawn from. Minutes from now."""

    at: Instant
    zone: str
    duration: int
    holds: int | None
    ready_from: int | None


def ebb_of(evaluation: Mapping[str, Any], names: Mapping[str, str], at: Instant, zone: str) -> Ebb:
    """Return the picture of one evaluation in the shape of the readiness facts.

    ``names``: need key to name. Units: ``at`` in minutes since 1970-01-01T00:00Z.
    Errors: FactsError if an instant of the evaluation is not one.
    """
    kind = _KIND.get(str(evaluation["state"]), ASKED)
    frame = _Frame(
        at=at,
        zone=zone,
        duration=int(evaluation["duration_min"]),
        holds=ahead(evaluation.get("holds_until"), at),
        ready_from=ahead(evaluation.get("ready_from"), at),
    )
    parts: dict[str, Any] = {"kind": kind, "axis": axis_of(at, zone), "needs": _needs(evaluation, names, frame)}
    drawn = {OPEN: _open, CLOSED: _closed, ASKED: _asked}[kind](frame)
    return Ebb(**_BLANK | parts | drawn)


_BLANK: dict[str, Any] = dict.fromkeys(
    ("now_bar", "now_label", "may", "last_bar", "last_label", "closed", "later_bar", "later_label")
)


def ahead(instant: str | None, at: Instant) -> int | None:
    """Return how many minutes after ``at`` an instant lies; 0 if it has passed, None if there is none."""
    return None if instant is None else max(0, parse_instant(instant) - at)


def _bar(start_min: float, end_min: float) -> Bar:
    """Span two points on the scale."""
    start, end = position(start_min), position(end_min)
    return Bar(x=percent(start), width=percent(end - start), end=end)


def _open(frame: _Frame) -> dict[str, Any]:
    """A run may start: now, until when, and the last one that can be finished."""
    now = _bar(0, frame.duration)
    drawn: dict[str, Any] = {
        "now_bar": now,
        "now_label": beside(now.end, _("now to %(end)s") % {"end": until(frame.duration, frame.at, frame.zone)}),
        "may": percent(position(frame.holds) if frame.holds is not None else FAR_END),
    }
    if frame.holds is None:
        return drawn | {"last_label": inside(_("no end on record"))}
    last = _bar(frame.holds, frame.holds + frame.duration)
    text = of_run(frame.holds, frame.duration, frame.at, frame.zone)
    return drawn | {"last_bar": last, "last_label": of_run_bar(position(frame.holds), last.end, text)}


def _closed(frame: _Frame) -> dict[str, Any]:
    """No run may start: closed time up to the instant at which one may, if one is known."""
    if frame.ready_from is None:
        return {"closed": _bar(0, FAR_MIN), "later_label": inside(_("end not known"))}
    later = _bar(frame.ready_from, frame.ready_from + frame.duration)
    text = of_run(frame.ready_from, frame.duration, frame.at, frame.zone)
    return {
        "closed": _bar(0, frame.ready_from),
        "later_bar": later,
        "later_label": of_run_bar(position(frame.ready_from), later.end, text),
    }


def _asked(frame: _Frame) -> dict[str, Any]:
    """Nobody knows: where a run would stand if what is missing were read."""
    later = _bar(0, frame.duration)
    text = _("now to %(end)s, once known") % {"end": until(frame.duration, frame.at, frame.zone)}
    return {"later_bar": later, "later_label": beside(later.end, text)}


def _needs(evaluation: Mapping[str, Any], names: Mapping[str, str], frame: _Frame) -> tuple[NeedLine, ...]:
    """Return what stands in the way or ends first, then the next to end, three in all."""
    findings: Mapping[str, Mapping[str, Any]] = evaluation.get("findings", {})
    leading = [key for key in (*evaluation.get("in_the_way", ()), *evaluation.get("limiting", ())) if key in findings]
    leading = list(dict.fromkeys(leading))

    def ends(key: str) -> float:
        minutes = ahead(findings[key].get("lapses_at"), frame.at)
        return float("inf") if minutes is None else minutes

    rest = sorted((key for key in findings if key not in leading), key=ends)
    chosen = (leading[:2] + rest)[:LINES]
    return tuple(_line(key, findings[key], names, frame, first=key in leading) for key in chosen)


def _line(
    key: str, finding: Mapping[str, Any], names: Mapping[str, str], frame: _Frame, *, first: bool
) -> NeedLine:  # fmt: skip
    """Draw one need from now to its end."""
    name = names.get(key) or str(finding.get("name") or key)
    missing = _(_MISSING[str(finding["state"])]) if str(finding.get("state")) in _MISSING else ""
    minutes = ahead(finding.get("lapses_at"), frame.at)
    if missing:
        return NeedLine(key, name, missing, "0%", True, False, of_need(0, missing, name))
    if minutes is None:
        words, end = _("no end on record"), FAR_END
    else:
        words, end = until(minutes, frame.at, frame.zone), position(minutes)
    label = of_need(end, words, name)
    return NeedLine(key, name, words, percent(end), first, minutes is None, label)
