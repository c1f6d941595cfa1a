"""The widths of letters as the font itself has them.

The page-maker takes the width of a letter from where it first stands. In the tiny letters of an unseen caption that is
rounded to a part of a pixel and may be more than a thousandth off, which PDF/A-3 (ISO 19005-3, 6.2.11.5) and PDF/UA-1 (ISO 14289-1, 7.21.5)
forbid. Knows neither Django nor records.
"""

from __future__ import annotations

import io
from typing import Any

THOUSAND = 1000


def true_widths(pdf: Any) -> None:
    """Write the widths of each font anew, from the font that the document carries. ``pdf``: a document not yet written."""
    for one in pdf.objects:
        if isinstance(one, dict) and one.get("Subtype") == "/CIDFontType2":
            descriptor = _at(pdf, one["FontDescriptor"])
            one["W"][:] = _corrected(one["W"], _advances(_at(pdf, descriptor["FontFile2"])))


def _at(pdf: Any, reference: bytes) -> Any:
    return pdf.objects[int(reference.split()[0])]


def _advances(file: Any) -> list[float]:
    """Return the width of each letter of a font, in thousandths of its size."""
    from fontTools.ttLib import TTFont  # type: ignore[import-untyped]  # noqa: PLC0415  # only in the process that presses

    font = TTFont(io.BytesIO(b"".join(file.stream)), lazy=True)
    scale = THOUSAND / font["head"].unitsPerEm
    metrics = font["hmtx"].metrics
    return [metrics[name][0] * scale for name in font.getGlyphOrder()]


def _corrected(widths: list[Any], advances: list[float]) -> list[Any]:
    """Return the pairs (first number, widths from it on) with the widths of the font."""
    made: list[Any] = []
    for first, given in zip(widths[::2], widths[1::2], strict=True):
        for place in range(len(given)):
            given[place] = round(advances[first + place])
        made += [first, given]
    return made
