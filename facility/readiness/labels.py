"""Where the words of a picture stand: after the end of a line, before it, or on a line of their own."""

from __future__ import annotations

from dataclasses import dataclass

from facility.readiness.axis import CLOSE_END, FAR_END, percent

#: narrowest field and widest likely letter, in CSS px: the guess of room errs to the safe side.
#: Words beside a run are also set on a phone, those of a need are not.
FIELD_PX, PHONE_PX = 570.0, 328.0
LETTER_PX = 6.9
GAP_PX = 9


@dataclass(frozen=True, slots=True)
class Label:
    """Words at ``x`` per cent, ``dx`` px aside. ``long``: too long for the field, set above the line instead."""

    text: str
    x: str
    dx: int = GAP_PX
    anchor: str = "start"
    long: bool = False


def room(text: str, field_px: float) -> float:
    """Return about how much of a field a text takes, in per cent of its width."""
    return (len(text) * LETTER_PX + 2 * GAP_PX) / field_px * 100


def beside(end: float, text: str) -> Label:
    """Set words after the end of a run's bar; if they do not fit, over it from the left edge."""
    return Label(text, percent(end)) if end + room(text, PHONE_PX) <= FAR_END else inside(text)


def inside(text: str) -> Label:
    """Set words at the left edge, over what is drawn there."""
    return Label(text, "0%")


def of_run_bar(start: float, end: float, text: str) -> Label:
    """Set words after a bar that stands ahead, else before it, else over the left edge."""
    if end + room(text, PHONE_PX) <= FAR_END:
        return Label(text, percent(end))
    if room(text, PHONE_PX) <= start:
        return Label(text, percent(start), dx=-GAP_PX, anchor="end")
    return inside(text)


def of_need(end: float, figure: str, name: str) -> Label:
    """Set figure and name after the end of a need's line, else before it, else on a line of their own.

    Before the end, at most up to the first change of scale, so that the names line up there.
    """
    start = min(end, CLOSE_END - 1)
    if end + room(f"{figure}  {name}", FIELD_PX) <= FAR_END:
        return Label(f"{figure}  {name}", percent(end))
    if room(f"{name}  {figure}", FIELD_PX) <= start:
        return Label(f"{name}  {figure}", percent(start), dx=-GAP_PX, anchor="end")
    return Label(f"{figure}  {name}", "0%", dx=0, long=True)
