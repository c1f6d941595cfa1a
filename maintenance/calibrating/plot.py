"""What every plot of ours is drawn with: a frame with scales and ticks, marks that differ by shape, no library.

The same picture goes on the page and into the PDF; only the colours differ. Sizes are in CSS pixels.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import ceil, floor, log10
from xml.sax.saxutils import escape, quoteattr

from django.utils.safestring import SafeString, mark_safe

MINUS = "\u2212"
WIDE, NARROW = 600.0, 340.0  # px: two sizes of each picture, one of which a page shows
STEPS = (1.0, 2.0, 5.0, 10.0)
CHARACTER = 7.5  # px of a figure in the axis' type
LINE = 17.0  # px of a line of words
FONTS = "Deepstead Plex, Plex, sans-serif"  # as pages and the two styles of papers name the one type of ours
HATCH = (
    '<defs><pattern id="closed" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path d="M0 0v7" stroke="#777" stroke-width="2"/></pattern></defs>'
)


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours of a picture. On paper everything is black; shapes, dashes and hatching carry the meaning."""

    ink: str
    sheet: str
    accent: str
    hatch: str = "url(#closed)"
    defines: str = ""


PAGE = Palette("var(--ink)", "var(--sheet)", "var(--brine)")
PAPER = Palette("#000", "#fff", "#000", defines=HATCH)


def ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Return round values from ``low`` to ``high``, both within, in steps of 1, 2 or 5.

    >>> ticks(0, 10)
    [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    """
    if not high > low:
        return [low]
    rough = (high - low) / max(1, most - 1)
    power = 10.0 ** floor(log10(rough))
    step = next(one for one in STEPS if one * power >= rough * 0.999) * power
    first, last = ceil(low / step - 1e-9), floor(high / step + 1e-9)
    places = max(0, -floor(log10(step)) + 1)
    return [round(number * step, places) + 0.0 for number in range(first, last + 1)]


def figure(value: float, *, signed: bool = False) -> str:
    """Return a number for an axis: no trailing zeros, a true minus."""
    text = f"{abs(value):.6g}"
    return (MINUS if value < 0 else "+" if signed and value > 0 else "") + text


def number(value: float) -> str:
    """Return a coordinate."""
    return f"{value:.1f}"


@dataclass(slots=True)
class Picture:
    """One plot under way: its size, its scales, what is drawn so far."""

    width: float
    height: float
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    palette: Palette = PAGE
    left: float = 56.0
    right: float = 16.0
    top: float = 26.0
    bottom: float = 30.0
    parts: list[str] = field(default_factory=list)

    def x(self, value: float) -> float:
        """Return where a value lies from the left."""
        low, high = self.x_range
        return self.left + (value - low) / (high - low) * (self.width - self.left - self.right)

    def y(self, value: float) -> float:
        """Return where a value lies from the top."""
        low, high = self.y_range
        return self.height - self.bottom - (value - low) / (high - low) * (self.height - self.top - self.bottom)

    def draw(self, markup: str) -> None:
        """Add markup of ours; texts in it are escaped already."""
        self.parts.append(markup)

    def line(self, start: tuple[float, float], end: tuple[float, float], width: float = 1, dash: str = "") -> None:
        """Draw a line between two points in pixels."""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.draw(
            f'<line x1="{number(start[0])}" y1="{number(start[1])}" x2="{number(end[0])}" y2="{number(end[1])}"'
            f' stroke="{self.palette.ink}" stroke-width="{width:g}"{dashed}/>'
        )

    def path(self, points: list[tuple[float, float]], width: float = 1, dash: str = "") -> None:
        """Draw a line through points given as values."""
        if not points:
            return
        shape = "M" + "L".join(f"{number(self.x(x))} {number(self.y(y))}" for x, y in points)
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.draw(f'<path d="{shape}" fill="none" stroke="{self.palette.ink}" stroke-width="{width:g}"{dashed}/>')

    def hatched(self, x: tuple[float, float], y: tuple[float, float]) -> None:
        """Hatch an area given as values."""
        (x1, x2), (y1, y2) = x, (max(y), min(y))
        left, top = self.x(x1), self.y(y1)
        self.draw(
            f'<rect x="{number(left)}" y="{number(top)}" width="{number(max(0.0, self.x(x2) - left))}"'
            f' height="{number(max(0.0, self.y(y2) - top))}" fill="{self.palette.hatch}" opacity=".6"/>'
        )

    def words_over(self, right: float, y: float, words: str) -> None:
        """Write words that end at a place in pixels on a patch of the sheet, so that lines under them do not cross them."""
        wide = len(words) * CHARACTER
        self.draw(
            f'<rect x="{number(right - wide)}" y="{number(y - LINE + 4)}" width="{number(wide)}" height="{number(LINE)}"'
            f' fill="{self.palette.sheet}"/>'
        )
        self.text(right, y, words, "end", strong=True)

    def text(self, x: float, y: float, words: str, anchor: str = "start", *, strong: bool = False) -> None:
        """Write words at a place in pixels."""
        weight = ' font-weight="700"' if strong else ""
        self.draw(
            f'<text x="{number(x)}" y="{number(y)}" text-anchor="{anchor}" font-size="13" fill="{self.palette.ink}"'
            f"{weight}>{escape(words)}</text>"
        )

    def bar(self, x: float, middle: float, half: float) -> None:
        """Draw an uncertainty bar at ``x`` px around a value."""
        top, end = self.y(middle + half), self.y(middle - half)
        self.draw(
            f'<path d="M{number(x)} {number(top)}V{number(end)}M{number(x - 3.5)} {number(top)}h7'
            f'M{number(x - 3.5)} {number(end)}h7" fill="none" stroke="{self.palette.ink}"/>'
        )

    def mark(self, kind: str, x: float, value: float) -> None:
        """Draw a mark at ``x`` px: rising, falling, again, found or left."""
        y = self.y(value)
        shape, filled = MARKS[kind]
        fill = self.palette.ink if filled else self.palette.sheet
        self.draw(
            f'<path transform="translate({number(x)} {number(y)})" d="{shape}" fill="{fill}"'
            f' stroke="{self.palette.ink}" stroke-width="1.5"/>'
        )

    def axes(self, x_ticks: list[tuple[float, str]], y_ticks: list[tuple[float, str]]) -> None:
        """Draw the frame of the scales with their figures; a figure that would touch the one before is left out."""
        base = self.height - self.bottom
        self.line((self.left, self.top), (self.left, base))
        self.line((self.left, base), (self.width - self.right, base))
        for value, words in y_ticks:
            y = self.y(value)
            self.line((self.left - 4, y), (self.left, y))
            self.text(self.left - 8, y + 4.5, words, "end")
        taken = -1e9
        for value, words in x_ticks:
            x, half = self.x(value), len(words) * CHARACTER / 2
            self.line((x, base), (x, base + 4))
            if x - half > taken and x + half <= self.width:
                self.text(x, base + 19, words, "middle")
                taken = x + half + 6

    @property
    def narrow(self) -> bool:
        """Whether this is the size for a phone."""
        return self.width < (WIDE + NARROW) / 2

    def svg(self, label: str) -> SafeString:
        """Return the whole picture; ``label`` says in words what it shows."""
        css = "plot narrow-plot" if self.narrow else "plot wide-plot"
        size = f"{self.width:g} {self.height:g}"
        drawn = (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="{css}" width="{self.width:g}" height="{self.height:g}"'
            f' viewBox="0 0 {size}" role="img" aria-label={quoteattr(label)} font-family="{FONTS}">'
            f"{self.palette.defines}{''.join(self.parts)}</svg>"
        )
        return mark_safe(drawn)  # noqa: S308  # our own markup; texts are escaped where they are drawn


#: shape and whether it is filled
MARKS = {
    "rising": ("M-5.5 4.500h11L0 -5.500z", True),
    "falling": ("M-5.500 -4.500h11L0 5.500z", False),
    "again": ("M0 -6L6 0 0 6 -6 0z", False),
    "found": ("M-4 -4h8v8h-8z", True),
    "left": ("M0 -4.500a4.500 4.500 0 1 0 .01 0z", False),
}
