"""From what a paper says to its PDF: one head, one foot, one style, and the box's seal where it is asked for.

Every paper is by PDF/A-3a and PDF/UA-1. One without the seal is there in a second or two and is what daily use needs;
the seal tells a stranger that this box made exactly these bytes, not that what they tell is true. Which of both it is
stands on the paper.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from django.http import HttpResponse
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from facility import events
from facility.papers.printing import STYLE, PrintingError, as_answer, pressed
from facility.report.front import in_groups
from facility.report.pages import PAGES, REPORT_STYLE
from facility.report.scope import A4
from facility.report.sealing_check import NotPublishedError
from facility.small_papers.sealing import sealed
from facility.trust.keys import KeyFaultError, seal_material
from facility.trust.printed import newest_head

if TYPE_CHECKING:
    from datetime import datetime

    from facility.access import Visit
    from facility.models import Site
    from facility.report.shape import Section
    from facility.trust.keys import SealMaterial

SECTIONS: Final = "small_papers/sections.html"
OWN_STYLE: Final = Path(__file__).parent / "small.css"
UNAVAILABLE: Final = 503
log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Print:
    """One print: of which site, when and by whom, and at which event the log stood when it was read."""

    site: Site
    at: datetime
    by: str
    newest: int
    size: str = A4
    seal: bool = False


@dataclass(frozen=True, slots=True)
class Paper:
    """What a paper says. ``name``: of its file; ``records``: the numbers behind it, for the foot of every page.

    ``template``: one that extends small_papers/base.html; ``more``: what it needs; ``wide``: the long side across.
    """

    name: str
    title: str
    records: str
    sections: tuple[Section, ...] = ()
    lead: str = ""
    boxed: tuple[str, ...] = ()
    plate: tuple[tuple[str, str], ...] = ()
    template: str = SECTIONS
    more: Mapping[str, Any] = field(default_factory=dict)
    wide: bool = False


def print_of(visit: Visit, size: str = A4, *, seal: bool = False) -> Print:
    """Return the print that a visitor asks for; made before the records are read."""
    newest = events.newest_seq()
    return Print(visit.site, events.now(), visit.actor.name, newest, size, seal)


def html_of(paper: Paper, printed: Print, fingerprint: str = "") -> str:
    """Return the page that a paper is pressed from, in the site's time and the reader's language."""
    with timezone.override(printed.site.zone):
        return render_to_string(paper.template, {
            "paper": paper, "printed": printed, "site": printed.site, "zone": printed.site.zone,
            "fingerprint": in_groups(fingerprint), "language": get_language() or "en", "signed_head": newest_head(),
            "plate": ((_("Facility"), printed.site.name), *paper.plate), **paper.more,
        })  # fmt: skip


def pdf_of(paper: Paper, printed: Print) -> bytes:
    """Return the PDF of a paper, sealed if that is asked for.

    Errors: PrintingError if it cannot be made; NotPublishedError if it would break its standards, and KeyFaultError
    without the box's key, where it is to be sealed.
    """
    material: SealMaterial | None = seal_material() if printed.seal else None
    html = html_of(paper, printed, material.fingerprint if material else "")
    size = PAGES[printed.size] + (" landscape" if paper.wide else "")
    made = pressed(html, STYLE, _style() + f"@page {{ size: {size}; }}\n")
    return made if material is None else sealed(made, material, f"{paper.name}.pdf")


def answer(paper: Paper, printed: Print) -> HttpResponse:
    """Send a paper. What cannot be made is answered with 503 in words; the records are untouched."""
    try:
        pdf = pdf_of(paper, printed)
    except (PrintingError, NotPublishedError, KeyFaultError) as error:
        log.exception("no paper %s", paper.name)
        words = _("The PDF could not be made: %(why)s Tell who keeps the box.") % {"why": error}
        return HttpResponse(words, status=UNAVAILABLE, content_type="text/plain; charset=utf-8")
    return as_answer(pdf, f"{paper.name}.pdf")


@lru_cache(maxsize=1)
def _style() -> str:
    return REPORT_STYLE.read_text(encoding="utf-8") + OWN_STYLE.read_text(encoding="utf-8")
