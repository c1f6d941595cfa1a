"""What a PDF says: the text of its pages by the fonts' own tables, its metadata, and its attached files."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pikepdf

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

PAIR = re.compile(rb"<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>")
CODE_BYTES = 2


def everything(path: Path) -> bytes:
    """Return the text of a PDF, its unpacked streams and its strings, one after the other."""
    with pikepdf.open(path) as document:
        pages = "\n".join(_page(page) for page in document.pages)
        streams = b"\n".join(_streams(document))
        told = "\n".join(str(value) for value in document.docinfo.values())
    return pages.encode() + b"\n" + streams + b"\n" + told.encode()


def _streams(document: Any) -> Iterator[bytes]:
    for one in document.objects:
        if isinstance(one, pikepdf.Stream):
            try:
                yield one.read_bytes()
            except pikepdf.PdfError:
                yield one.read_raw_bytes()
        elif isinstance(one, pikepdf.Dictionary):
            yield repr(one).encode(errors="replace")


def _page(page: Any) -> str:
    fonts = {name: _letters(font) for name, font in page.resources.get("/Font", {}).items()}
    letters: dict[int, str] = {}
    said: list[str] = []
    told: Any = pikepdf.parse_content_stream(page)
    for operands, operator in told:
        if str(operator) == "Tf":
            letters = fonts.get(str(operands[0]), {})
        elif str(operator) in {"Tj", "TJ", "'", '"'}:
            said.append(_said(operands[-1], letters))
    return " ".join(said)


def _said(shown: Any, letters: dict[int, str]) -> str:
    parts = [shown] if isinstance(shown, pikepdf.String) else [one for one in shown if isinstance(one, pikepdf.String)]
    raw = b"".join(bytes(one) for one in parts)
    if not letters:
        return raw.decode("latin-1")
    codes = (int.from_bytes(raw[at : at + CODE_BYTES], "big") for at in range(0, len(raw), CODE_BYTES))
    return "".join(letters.get(code, "") for code in codes)


def _letters(font: Any) -> dict[int, str]:
    """Return the letters of a font's codes (ISO 32000, 9.10.3)."""
    if "/ToUnicode" not in font:
        return {}
    pairs = PAIR.findall(font.ToUnicode.read_bytes())
    return {int(code, 16): bytes.fromhex(text.decode()).decode("utf-16-be", "replace") for code, text in pairs}
