"""Pages of references and their certificates, of instruments, and of two instruments side by side."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from facility import evidence, house
from facility.access import Act, Visit, enter
from facility.compute.typed import whole
from facility.fields import refuse
from facility.history import timeline
from facility.services import ChangedMeanwhileError
from maintenance.calibrating import recalls, services
from maintenance.calibrating.common import INSTRUMENTS, certificate_of, context, reference_of, today_at
from maintenance.calibrating.page import mark_of, words_of
from maintenance.calibrating.reach import bad_certificates
from maintenance.calibrating.reference_forms import CertificateForm, CertificateLookForm, PairForm, ReferenceForm
from maintenance.calibrating.standing import against
from maintenance.calibrating.trail import below, rests_on, with_newest_work
from maintenance.compute.pairs import PairVerdict, compare_clocks, compare_gauges
from maintenance.models import Calibration, Equipment, Reference, ReferenceCertificate
from maintenance.worksheets.common import values

if TYPE_CHECKING:
    from datetime import date

    from django.http import HttpRequest, HttpResponse


def references(request: HttpRequest, site: str) -> HttpResponse:
    """List the references with their certificates, what goes back to its owner, recalls, and all instruments."""
    visit = enter(request, site, Act.SEE)
    today = today_at(visit)
    more = context(
        visit, references=_standing(visit, today), instruments=_instruments(visit),
        recalls=recalls.open_recalls(visit.site), today=today, may_keep=visit.may(Act.PLANT),
    )  # fmt: skip
    return render(request, "maintenance/calibrating/references.html", more)


def _standing(visit: Visit, today: date) -> list[dict[str, Any]]:
    """Return each reference with its newest certificate, what speaks against it today, and its day of return."""
    newest: dict[int, ReferenceCertificate] = {}
    rows = ReferenceCertificate.objects.current().filter(reference__site=visit.site)
    for row in rows.select_related("reference__site").order_by("calibrated_on", "pk"):
        newest[row.reference_id] = row
    soon = int(house.values(visit.site)["due_soon_days"])
    recalled = bad_certificates(visit.site, today)
    found = []
    for one in Reference.objects.current().filter(site=visit.site):
        certificate = newest.get(one.pk)
        left = (one.return_by - today).days if one.return_by else None
        found.append({
            "row": one, "certificate": certificate, "against": [one.words for one in against(certificate, today, recalled)],
            "days_left": left, "late_by": -left if left is not None and left < 0 else None,
            "return_soon": left is not None and left <= soon,
        })  # fmt: skip
    return found


def _instruments(visit: Visit) -> list[dict[str, Any]]:
    newest: dict[int, Calibration] = {}
    rows = Calibration.objects.current().filter(equipment__site=visit.site)
    joined = rows.select_related("work__superseded_by", "equipment").order_by("done_on", "pk")
    for row in with_newest_work(joined):
        newest[row.equipment_id] = row
    items = Equipment.objects.current().filter(site=visit.site, kind__in=INSTRUMENTS)
    found = []
    for item in items:
        last = newest.get(item.pk)
        mark, words = (mark_of(last), words_of(last)) if last else ("unknown", _("never compared"))
        found.append({"item": item, "last": last, "mark": mark, "words": words})
    return found


def add_reference(request: HttpRequest, site: str) -> HttpResponse:
    """Add a reference, the site's own or on loan."""
    visit = enter(request, site, Act.PLANT)
    form = ReferenceForm(request.POST or None, instance=Reference(site=visit.site))
    form.open_at(visit.site)
    if form.is_valid():
        try:
            stored = services.add_reference(form.instance, by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(
                request, _("The reference is recorded. It proves nothing without a certificate: add it now.")
            )
            return redirect("maintenance:reference", site, stored.pk)
    return render(request, "maintenance/calibrating/add_reference.html", context(visit, form=form),
                  status=422 if form.is_bound else 200)  # fmt: skip


def reference(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one reference, its certificates, what speaks against the newest, and all that rests on them."""
    visit = enter(request, site, Act.SEE)
    row = reference_of(visit, pk)
    today = today_at(visit)
    certificates = list(row.certificates.select_related("rests_on__reference", "evidence", "reference__site"))
    newest = next((one for one in certificates if one.is_current), None)
    more = context(
        visit, row=row, certificates=certificates, newest=newest, today=today,
        against=[one.words for one in against(newest, today)], may_keep=visit.may(Act.PLANT),
        days_left=(row.return_by - today).days if row.return_by else None,
        history=timeline(row, ZoneInfo(visit.site.zone)),
    )  # fmt: skip
    return render(request, "maintenance/calibrating/reference.html", more)


def add_certificate(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Add a certificate of a reference, as printed."""
    visit = enter(request, site, Act.PLANT)
    row = reference_of(visit, pk)
    blank = ReferenceCertificate(reference=row, coverage_factor=Decimal(2), unit=row.unit)
    form = CertificateForm(request.POST or None, request.FILES or None, instance=blank)
    form.open_at(row, today_at(visit))
    if form.is_valid():
        try:
            upload = form.cleaned_data["upload"]
            if upload is not None:
                form.instance.evidence = evidence.accept(upload, site=visit.site, by=visit.actor)
            stored = services.add_certificate(form.instance, by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            told = _("The certificate is recorded. It counts once a second person has confirmed its dates.")
            messages.success(request, told if stored.needs_second_look else _("The certificate is recorded."))
            return redirect("maintenance:certificate", site, stored.pk)
    more = context(visit, form=form, row=row)
    return render(request, "maintenance/calibrating/add_certificate.html", more, status=422 if form.is_bound else 200)


def certificate(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show one certificate and the trail both ways: what it rests on, and what rests on it."""
    visit = enter(request, site, Act.SEE)
    row = certificate_of(visit, pk)
    more = context(
        visit, row=row, against=[one.words for one in against(row, today_at(visit))], below=below(row)[1:],
        above=rests_on(row), may_keep=visit.may(Act.PLANT), history=timeline(row, ZoneInfo(visit.site.zone)),
        may_look=visit.may(Act.PLANT) and row.needs_second_look and not row.second_look_by and row.is_current,
    )  # fmt: skip
    return render(request, "maintenance/calibrating/certificate.html", more)


def second_look(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Let another person read the days and figures of a certificate again; only then does it count."""
    visit = enter(request, site, Act.PLANT)
    row = certificate_of(visit, pk)
    form = CertificateLookForm(request.POST or None)
    if form.is_valid():
        form.compare(row)
    if form.is_valid():
        version = request.POST.get("shown_version", "")
        try:
            services.second_look(row, by=visit.actor, shown_version=whole(version))
        except ChangedMeanwhileError as error:
            form.add_error(None, error)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("The second look is recorded: the certificate counts."))
            return redirect("maintenance:certificate", site, pk)
    more = context(visit, form=form, row=row)
    return render(request, "maintenance/calibrating/second_look.html", more, status=422 if form.is_bound else 200)


def compare_pair(request: HttpRequest, site: str) -> HttpResponse:
    """Compare two gauges on one line or two clocks; beyond the limit both are noted and their rules fall due."""
    visit = enter(request, site, Act.CHECK)
    clocks = request.GET.get("clocks") == "1"
    offered = {name: request.GET[name] for name in ("first", "second") if request.GET.get(name, "").isdecimal()}
    form = PairForm(request.POST or None, initial=offered)
    form.open_at(visit.site, clocks=clocks)
    verdict = None
    if form.is_valid():
        verdict = _verdict(form.cleaned_data, clocks=clocks)
        if verdict.needs_test:
            pair = (form.cleaned_data["first"], form.cleaned_data["second"])
            apart = (verdict.difference, verdict.limit, verdict.unit)
            services.note_disagreement(pair, today_at(visit), apart, by=visit.actor)
            messages.warning(request, _("They disagree by %(found)s %(unit)s, more than %(limit)s %(unit)s. It is noted on"
                                        " both: compare them with a reference.")
                             % {"found": verdict.difference, "limit": verdict.limit, "unit": verdict.unit})  # fmt: skip
            return redirect("maintenance:references", site)
    more = context(visit, form=form, clocks=clocks, verdict=verdict, figures=_figures())
    refused = form.is_bound and verdict is None
    return render(request, "maintenance/calibrating/pair.html", more, status=422 if refused else 200)


def _figures() -> dict[str, Decimal]:
    """Return the figures of both rules. Source: maintenance/reference/comparisons.toml."""
    table = values("comparisons.toml")
    names = {"difference": "clock_pair.difference", "span": "clock_pair.span", "percent": "gauge_pair"}
    return {name: table[key].number for name, key in names.items()}


def _verdict(typed: dict[str, Any], *, clocks: bool) -> PairVerdict:
    figures = _figures()
    if clocks:
        return compare_clocks(typed["apart_s"], typed["span_h"], figures["difference"], figures["span"])
    readings = (typed["first_reading"], typed["second_reading"])
    return compare_gauges(*readings, typed["full_scale"], figures["percent"], typed["unit"])
