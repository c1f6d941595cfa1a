"""From a volume to the page that is pressed: template, style and paper."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

from facility.papers.presses import Sheet
from facility.papers.printing import STYLE

if TYPE_CHECKING:
    from facility.report.scope import Scope
    from facility.report.shape import Volume

TEMPLATE: Final = "report/volume.html"
REPORT_STYLE: Final = Path(__file__).parent / "report.css"
PAGES: Final = {"A4": "A4", "Letter": "letter"}


def sheet_of(volume: Volume, scope: Scope, *, contents: bool = True) -> Sheet:
    """Return the page of a volume in its style. Errors: KeyError for a paper that is neither A4 nor Letter."""
    site = scope.site
    plate = [(_("Facility"), f"{site.name}, {scope.chamber.name}" if scope.chamber else site.name), *volume.plate]
    foot = volume.foot or f"{site.name} \u00b7 {volume.title}"
    context = {
        "volume": volume, "site": site, "plate": plate, "foot": foot, "language": translation.get_language() or "en",
        "contents": contents and len(volume.sections) > 1,
    }  # fmt: skip
    return Sheet(render_to_string(TEMPLATE, context), style() + f"@page {{ size: {PAGES[scope.paper]}; }}\n")


@lru_cache(maxsize=1)
def style() -> str:
    """Return the style of papers with what a report adds."""
    return STYLE.read_text(encoding="utf-8") + REPORT_STYLE.read_text(encoding="utf-8")
