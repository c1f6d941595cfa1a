"""Drawing of a profile in SVG with presentation attributes only: no style, no script, nothing from outside."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

FONT = "IBM Plex Sans, Arial, sans-serif"
TEXT_SIZE = 13
HATCH = 6
GRID = "1 3"  # words that stand on a line of the grid stay readable


@dataclass(slots=True)
class Canvas:
    """A sheet of so many units, with the span of minutes and the depth that its plot shows."""

    width: int
    height: int
    ink: str
    start_min: float
    end_min: float
    deepest_fsw: float
    left: int = 58
    right: int = 14
    top: int = 30
    bottom: int = 120
    parts: list[str] = field(default_factory=list)

    @property
    def plot_width(self) -> int:
        """The width of the plot."""
        return self.width - self.left - self.right

    @property
    def plot_height(self) -> int:
        """The height of the plot."""
        return self.height - self.top - self.bottom

    def x(self, minute: float) -> float:
        """Return where a minute lies; what is outside the span lies on its edge."""
        share = (minute - self.start_min) / (self.end_min - self.start_min)
        return round(self.left + self.plot_width * min(1.0, max(0.0, share)), 1)

    def y(self, depth_fsw: float) -> float:
        """Return where a depth lies."""
        return round(self.top + self.plot_height * min(1.0, max(0.0, depth_fsw / self.deepest_fsw)), 1)

    def line(self, start: tuple[float, float], end: tuple[float, float], width: float = 1, dash: str = "") -> None:
        """Draw a straight line between two places of the sheet."""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<line x1="{start[0]:g}" y1="{start[1]:g}" x2="{end[0]:g}" y2="{end[1]:g}" stroke="{self.ink}"'
            f' stroke-width="{width:g}"{dashed}/>'
        )

    def curve(self, points: Iterable[tuple[float, float]], width: float, dash: str = "") -> None:
        """Draw the depth through points of minute and fsw."""
        places = " ".join(f"{self.x(minute):g},{self.y(depth):g}" for minute, depth in points)
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<polyline points="{places}" fill="none" stroke="{self.ink}" stroke-width="{width:g}"'
            f' stroke-linejoin="round"{dashed}/>'
        )

    def box(self, start: float, end: float, top: float, height: float, *, filled: bool) -> None:
        """Draw a bar from a minute to a minute, filled or only its outline."""
        fill = self.ink if filled else "none"
        left, right = self.x(start), self.x(end)
        self.parts.append(
            f'<rect x="{left:g}" y="{top:g}" width="{max(0.8, right - left):g}" height="{height:g}" fill="{fill}"'
            f' stroke="{self.ink}" stroke-width="1"/>'
        )

    def hatched(self, start: float, end: float, top: float, height: float) -> None:
        """Draw a bar with slanted lines in it."""
        self.box(start, end, top, height, filled=False)
        right, x = self.x(end), self.x(start)
        while x < right:
            rise = min(height, right - x)
            self.line((x, top + height), (x + rise, top + height - rise), 0.8)
            x += HATCH

    def text(self, place: tuple[float, float], words: str, *, anchor: str = "start", bold: bool = False) -> None:
        """Write words at a place of the sheet."""
        weight = ' font-weight="700"' if bold else ""
        words = "".join(one for one in words if one.isprintable())
        self.parts.append(
            f'<text x="{place[0]:g}" y="{place[1]:g}" font-family={quoteattr(FONT)} font-size="{TEXT_SIZE}"'
            f' text-anchor="{anchor}" fill="{self.ink}"{weight}>{escape(words)}</text>'
        )

    def flag(self, minute: float, depth_fsw: float, number: int) -> None:
        """Mark a place of the plot with a triangle and a number."""
        x, y = self.x(minute), self.y(depth_fsw)
        self.parts.append(f'<path d="M{x:g} {y:g}l-5 -10h10z" fill="none" stroke="{self.ink}" stroke-width="1.6"/>')
        self.text((x + 7, y - 3), str(number), bold=True)

    def whole(self, title: str, about: str) -> str:
        """Return the drawing as one element with its title and description."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {self.height}" width="{self.width}"'
            f' height="{self.height}" role="img" aria-label={quoteattr(f"{title}. {about}")}>'
        )
        return "".join((head, f"<title>{escape(title)}</title><desc>{escape(about)}</desc>", *self.parts, "</svg>"))


def ticks(span: float, steps: Sequence[float], most: int) -> list[float]:
    """Return round values from 0 up to a span, by the first step that needs no more than so many."""
    step = next((one for one in steps if span / one <= most), steps[-1])
    return [step * n for n in range(int(span / step) + 1)]
