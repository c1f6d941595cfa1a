"""The text of a PDF, as a reader would copy it: glyphs turned back by the fonts' own tables (ISO 32000-1, 9.10)."""

from __future__ import annotations

import io
import re
from typing import Any

import pikepdf

PAIR = re.compile(rb"<([0-9a-fA-F]+)>\s*<([0-9a-fA-F]+)>")
RANGE = re.compile(rb"<([0-9a-fA-F]+)>\s*<([0-9a-fA-F]+)>\s*<([0-9a-fA-F]+)>")


def pages_of(pdf: bytes) -> list[str]:
    """Return the text of each page."""
    with pikepdf.open(io.BytesIO(pdf)) as document:
        return [_text(page) for page in document.pages]


def everything_in(pdf: bytes) -> bytes:
    """Return every stream of a PDF unpacked, and its strings: metadata, tags and names too."""
    with pikepdf.open(io.BytesIO(pdf)) as document:
        parts = [bytes(one.read_bytes()) for one in document.objects if isinstance(one, pikepdf.Stream)]
        texts = [str(one).encode() for one in document.objects if not isinstance(one, pikepdf.Stream)]
    return b"\n".join([pdf, *parts, *texts])


def _text(page: Any) -> str:
    fonts = {name: _table(font) for name, font in page.resources.get("/Font", {}).items()}
    table: dict[int, str] = {}
    found: list[str] = []
    instructions: Any = pikepdf.parse_content_stream(page)
    for operands, operator in instructions:
        if str(operator) == "Tf":
            table = fonts[str(operands[0])]
        elif str(operator) in {"Tj", "TJ"}:
            shown = operands[0] if str(operator) == "TJ" else [operands[0]]
            found += [_said(bytes(one), table) for one in shown if isinstance(one, pikepdf.String)]
        elif str(operator) == "ET":
            found.append("\n")
    return "".join(found)


def _said(glyphs: bytes, table: dict[int, str]) -> str:
    return "".join(table.get(int.from_bytes(glyphs[n : n + 2], "big"), "\ufffd") for n in range(0, len(glyphs), 2))


def _table(font: Any) -> dict[int, str]:
    text = bytes(font["/ToUnicode"].read_bytes())
    found: dict[int, str] = {}
    for block in re.findall(rb"beginbfchar(.*?)endbfchar", text, re.DOTALL):
        for code, letters in PAIR.findall(block):
            found[int(code, 16)] = bytes.fromhex(letters.decode()).decode("utf-16-be")
    for block in re.findall(rb"beginbfrange(.*?)endbfrange", text, re.DOTALL):
        for first, last, letters in RANGE.findall(block):
            start = int(letters, 16)
            for n in range(int(first, 16), int(last, 16) + 1):
                found[n] = chr(start + n - int(first, 16))
    return found
