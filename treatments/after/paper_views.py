"""Papers of runs as PDF: the treatment record, and the personal log of one of the crew."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, Visit, enter
from facility.events import What
from facility.papers.printing import PrintingError, as_answer, pdf_of, size_asked
from facility.trust.printed import newest_head
from treatments.after.forms import NamingForm
from treatments.after.ledger import logbook_of, total
from treatments.after.record import Record
from treatments.after.views import in_parts, person_at, record_at, shown
from treatments.figures.picture import about
from treatments.figures.state import figures_of
from treatments.figures.table import depth_rows
from treatments.figures.views import drawn
from treatments.models import ClinicalText

if TYPE_CHECKING:
    from datetime import datetime

PICTURE_WIDTH = 900
UNAVAILABLE = 503


def treatment_record(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Send the treatment record of a run as PDF; who a patient is and what was written about health only when asked."""
    visit = enter(request, site, Act.SEE)
    record = record_at(visit, pk)
    if request.method != "POST":
        return _paper(visit, record, size_asked(request))
    enter(request, site, Act.PATIENT)
    form = NamingForm(request.POST)
    if not form.is_valid():
        messages.error(request, " ".join(str(text) for text in form.non_field_errors()))
        return redirect("treatments:after_run", site, pk)
    given = form.cleaned_data
    return _paper(visit, record, size_asked(request), name=given["name"], clinical=given["clinical"])


def _paper(visit: Visit, record: Record, size: str, *, name: bool = False, clinical: bool = False) -> HttpResponse:
    newest, now = events.newest_seq(), events.now()
    names = _names(record) if name else []
    texts = _texts(record) if clinical else {}
    more = {
        "names": names, "clinical": clinical, "printed_at": now, "printed_by": visit.actor.name,
        "log_parts": in_parts(record.lines, texts), "loose": texts.get(0, ""), "paper_id": f"R-{record.run.pk}",
        "signed_head": newest_head(), "newest_event": newest,
    }  # fmt: skip
    try:
        with timezone.override(ZoneInfo(visit.site.zone)):
            context = shown(visit, record, **more | _picture(record, now))
            pdf = pdf_of("treatments/after/record_paper.html", context, size)
    except PrintingError as error:
        return _no_paper(error)
    if name or clinical:
        _tell(visit, record, name=name, clinical=clinical)
    return as_answer(pdf, f"run-{record.run.number}-record.pdf")


def _no_paper(error: PrintingError) -> HttpResponse:
    words = _("The PDF could not be made: %(why)s Tell who keeps the box.") % {"why": error}
    return HttpResponse(words, status=UNAVAILABLE, content_type="text/plain; charset=utf-8")


def _picture(record: Record, now: datetime) -> dict[str, Any]:
    found = figures_of(record.run, now)
    svg = drawn(record.run, found, PICTURE_WIDTH, ink="#000")
    if found.track is None or not record.lines:  # nothing logged: a line along the surface would say that it was
        return {"picture": "", "picture_words": "", "depths": []}
    address = "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()
    return {"picture": address, "picture_words": about(found), "depths": depth_rows(found)}


def _names(record: Record) -> list[tuple[int, str]]:
    """Return who each patient is, by place; nothing of an identity that was erased."""
    found = []
    for place in record.places:
        patient = place.patient
        if patient is not None and patient.erased_at is None:
            born = f", {_('born')} {patient.born_on:%Y-%m-%d}" if patient.born_on else ""
            found.append((place.pk, f"{patient.name}{born}"))
    return found


def _texts(record: Record) -> dict[int, str]:
    """Return what was written about health by the line it belongs to; under 0 what belongs to none."""
    found: dict[int, str] = {}
    rows = ClinicalText.objects.filter(run=record.run, retired_at=None, erased_at=None).select_related("about")
    for row in rows.order_by("id"):
        who = f"{row.about.label}: " if row.about is not None and row.entry_id is None else ""
        key = row.entry_id or 0
        found[key] = "\n".join(filter(None, [found.get(key, ""), who + row.text]))
    return found


@transaction.atomic
def _tell(visit: Visit, record: Record, *, name: bool, clinical: bool) -> None:
    """Keep that a paper named a patient: by whom and what it held, never what it says."""
    held = ", ".join([word for word, said in (("name", name), ("clinical texts", clinical)) if said])
    what = What("record printed with patient", after={"held": held}, site_key=visit.site.key)
    events.record(record.run, what, by=visit.actor)


def personal_log(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Send the personal log of one of the crew as PDF: every closed run with its figures and the supervisor's signature."""
    visit = enter(request, site, Act.SEE)
    person = person_at(request, visit, pk)
    newest, now = events.newest_seq(), events.now()
    rows = logbook_of(person, now)
    context = {
        "visit": visit, "person": person, "rows": rows, "total": total(one.exposure for one in rows), "printed_at": now,
        "printed_by": visit.actor.name, "paper_id": f"P-{person.pk}",
        "signed_head": newest_head(), "newest_event": newest,
    }  # fmt: skip
    try:
        with timezone.override(ZoneInfo(visit.site.zone)):
            pdf = pdf_of("treatments/after/personal_log_paper.html", context, size_asked(request))
    except PrintingError as error:
        return _no_paper(error)
    return as_answer(pdf, f"personal-log-{person.key}.pdf")
