"""The paper of one comparison: its page for print, and the PDF made of it."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import TYPE_CHECKING

from django.template.loader import render_to_string

from facility.events import first_events, newest_seq
from facility.papers.printing import A4, of_size, pressed
from facility.trust.printed import newest_head
from maintenance.calibrating.page import RunShown, parts_of
from maintenance.calibrating.plot import PAPER

if TYPE_CHECKING:
    from datetime import datetime

    from maintenance.models import Calibration

STYLE = Path(__file__).parent / "paper.css"


def picture_address(svg: str) -> str:
    """Return a picture as an address within a page."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()


def paper_html(row: Calibration, printed_at: datetime, printed_by: str) -> str:
    """Return the page that the PDF is made of; its dates in the zone of the site."""
    parts = parts_of(row, PAPER)
    runs: list[RunShown] = parts["runs"]
    pictures = [(run, picture_address(run.wide) if run.wide else "") for run in runs]
    more = parts | {
        "site": row.equipment.site, "pictures": pictures, "printed_at": printed_at,
        "printed_by": printed_by, "signed_head": newest_head(), "newest_event": newest_seq(),
        "event": first_events(row._meta.label_lower, [row.pk])[row.pk],
    }  # fmt: skip
    return render_to_string("maintenance/calibrating/paper.html", more)


def pdf_of(html: str, size: str = A4) -> bytes:
    """Return the PDF of a page. Errors: PrintingError with what the page-maker said."""
    return pressed(html, STYLE, of_size(size))
