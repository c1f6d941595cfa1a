"""Papers as PDF: a page and its style become one document, made whole or not at all."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.http import HttpResponse
from django.template.loader import render_to_string
from django.utils.translation import get_language

if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.http import HttpRequest

LONGEST_S = 120
STYLE = Path(__file__).parent / "paper.css"
ROOT = Path(__file__).parent.parent.parent
A4 = "A4"
SIZES = {A4: "A4", "Letter": "letter"}
"""Sheets of paper, and their names in a style sheet."""
FONT = "IBMPlexSans[wdth,wght].ttf"


class PrintingError(RuntimeError):
    """The PDF could not be made: what the page-maker said last."""


def font_file() -> Path:
    """Return the font that papers are set in. Errors: PrintingError if its package is missing."""
    found = find_spec("fontpkg_ibm_plex_sans")
    if found is None or found.origin is None:
        raise PrintingError("The font package fontpkg-ibm-plex-sans is not installed.")
    return Path(found.origin).parent / "files" / FONT


def size_asked(request: HttpRequest) -> str:
    """Return the sheet that an address or a form asks for as ``size``; A4 for none, and for one that there is not."""
    asked = str(request.GET.get("size") or request.POST.get("size") or A4)
    return asked if asked in SIZES else A4


def of_size(size: str) -> str:
    """Return the rule of a style sheet for a sheet of paper. Errors: KeyError for one that there is not."""
    return f"@page {{ size: {SIZES[size]}; }}\n"


def pdf_of(template: str, context: Mapping[str, Any], size: str = A4) -> bytes:
    """Return the PDF of a template in the common style of papers, in the reader's language.

    Errors: PrintingError if it cannot be made in time.
    """
    html = render_to_string(template, dict(context) | {"language": get_language() or "en"})
    return pressed(html, STYLE, of_size(size))


def pressed(html: str, style: Path, more: str = "") -> bytes:
    """Return the PDF of a page in a style, made in a process that ends with it; the same page gives the same bytes.

    ``more``: rules that go after the style.

    Errors: PrintingError with what the process said last.
    """
    job = {"html": html, "css": style.read_text(encoding="utf-8") + more, "font": str(font_file())}
    try:
        done = subprocess.run(  # this program's own module, nothing of the request in the command
            [sys.executable, "-m", "facility.papers.press"], input=json.dumps(job).encode(), capture_output=True,
            timeout=LONGEST_S, cwd=ROOT, check=False, env={**os.environ, "SOURCE_DATE_EPOCH": "0"},  # fonts carry it
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise PrintingError(f"The paper was not ready after {LONGEST_S} s.") from None
    if done.returncode != 0 or not done.stdout.startswith(b"%PDF"):
        said = done.stderr.decode(errors="replace").strip().splitlines()
        raise PrintingError(said[-1] if said else "no output")
    return done.stdout


def as_answer(pdf: bytes, name: str) -> HttpResponse:
    """Return a PDF as an answer under our own name."""
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response["X-Content-Type-Options"] = "nosniff"
    return response
