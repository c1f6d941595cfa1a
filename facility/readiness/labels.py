"""Where the words of a picture stand: after the end of a line, before it, or on a line of their own."""

from __future__ import annotations

from dataclasses import dataclass

from facility.readiness.axis import FAR_END, percent

#: narrowest field of a tablet and widest likely letter, in CSS px: the guess of room errs to the safe side
FIELD_PX = 570.0
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


def room(text: str) -> float:
    """Return about how much of the field a text takes, in per cent."""
    return (len(text) * LETTER_PX + 2 * GAP_PX) / FIELD_PX * 100


def beside(end: float, text: str) -> Label:
    """Set words after the end of a bar."""
    return Label(text, percent(end), long=end + room(text) > FAR_END)


def inside(text: str) -> Label:
    """Set words at the left edge, over what is drawn there."""
    return Label(text, "0%")


def place(start: float, end: float, text: str, before: str = "") -> Label:
    """Set words after ``end`` if they fit, else before ``start``, else apart.

    ``before``: what to write there instead, so that the figure stays next to the end.
    """
    if end + room(text) <= FAR_END:
        return Label(text, percent(end))
    if room(text) <= start:
        return Label(before or text, percent(start), dx=-GAP_PX, anchor="end")
    return Label(text, "0%", dx=0, long=True)
