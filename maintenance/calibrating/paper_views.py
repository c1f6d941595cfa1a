"""The record of a comparison as a PDF."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, enter
from facility.papers.printing import PrintingError, size_asked
from maintenance.calibrating.common import calibration_of
from maintenance.calibrating.paper import paper_html, pdf_of

if TYPE_CHECKING:
    from django.http import HttpRequest

log = logging.getLogger(__name__)


def calibration_pdf(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Send the record of a comparison as a PDF."""
    visit = enter(request, site, Act.SEE)
    row = calibration_of(visit, pk)
    with timezone.override(visit.site.zone):
        html = paper_html(row, events.now(), visit.actor.name)
    try:
        content = pdf_of(html, size_asked(request))
    except PrintingError:
        log.exception("no PDF of comparison %s", pk)
        messages.error(request, _("The PDF could not be made here; what is missing stands in the log of the box. Print the page"
                                  " instead."))  # fmt: skip
        return redirect("maintenance:calibration", site, pk)
    answer = HttpResponse(content, content_type="application/pdf")
    answer["Content-Disposition"] = f'attachment; filename="comparison-{row.equipment_id}-{row.pk}.pdf"'
    return answer
