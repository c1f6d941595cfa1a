"""The paper of one comparison: its page for print, and the PDF made of it in a child process."""

from __future__ import annotations

import base64
import os
import subprocess  # our own module in our own interpreter, without a shell
import sys
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string

from maintenance.calibrating.page import RunShown, parts_of
from maintenance.calibrating.plot import PAPER

if TYPE_CHECKING:
    from datetime import datetime

    from maintenance.models import Calibration

LONGEST_S = 60
FONT = "fonts/IBMPlexSans[wdth,wght].ttf"


class PaperError(RuntimeError):
    """A PDF that could not be made."""


@lru_cache(maxsize=1)
def font_address() -> str:
    """Return our font as an address within a page, empty where it is not installed."""
    path = finders.find(FONT)
    if not path:
        return ""
    return "data:font/ttf;base64," + base64.b64encode(Path(path).read_bytes()).decode()


def picture_address(svg: str) -> str:
    """Return a picture as an address within a page."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()


def paper_html(row: Calibration, printed_at: datetime, printed_by: str) -> str:
    """Return the page that the PDF is made of; its dates in the zone of the site."""
    parts = parts_of(row, PAPER)
    runs: list[RunShown] = parts["runs"]
    pictures = [(run, picture_address(run.wide) if run.wide else "") for run in runs]
    more = parts | {
        "site": row.equipment.site, "pictures": pictures, "font": font_address(), "printed_at": printed_at,
        "printed_by": printed_by,
    }  # fmt: skip
    return render_to_string("maintenance/calibrating/paper.html", more)


def pdf_of(html: str) -> bytes:
    """Return the PDF of a page, made in a process that ends with it.

    Errors: PaperError with what the process said.
    """
    try:
        done = subprocess.run(  # our own interpreter and module
            [sys.executable, "-m", "maintenance.calibrating.press"],
            input=html.encode(), capture_output=True, check=False, timeout=LONGEST_S, cwd=settings.BASE_DIR, env={**os.environ, "SOURCE_DATE_EPOCH": "0"},  # fonts carry the time otherwise
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise PaperError(f"The PDF took longer than {LONGEST_S} s.") from None
    if done.returncode or not done.stdout.startswith(b"%PDF-"):
        raise PaperError(done.stderr.decode(errors="replace")[-500:])
    return done.stdout
