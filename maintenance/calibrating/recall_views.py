"""Pages of recalls: start one, see what is left open, answer for it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from facility import evidence
from facility.access import Act, Visit, enter
from facility.fields import day_text, refuse
from facility.history import timeline
from maintenance.calibrating import recalls
from maintenance.calibrating.common import context, today_at
from maintenance.calibrating.reach import ANALYSIS, CALIBRATION, CERTIFICATE, DELIVERED, SAMPLE
from maintenance.calibrating.reference_forms import AnswerForm, RecallForm
from maintenance.models import Recall

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

TITLES = {
    CALIBRATION: gettext_noop("Instruments compared"), CERTIFICATE: gettext_noop("References compared"),
    ANALYSIS: gettext_noop("Cylinders analysed"), DELIVERED: gettext_noop("Delivered cylinders analysed"),
    SAMPLE: gettext_noop("Gas samples"),
}  # fmt: skip


def start_recall(request: HttpRequest, site: str) -> HttpResponse:
    """Tell that a reference or an instrument turned out bad."""
    visit = enter(request, site, Act.PLANT)
    offered = {name: request.GET[name] for name in ("reference", "equipment") if request.GET.get(name, "").isdecimal()}
    form = RecallForm(request.POST or None, request.FILES or None, instance=Recall(site=visit.site), initial=offered)
    form.open_at(visit.site, today_at(visit))
    if form.is_valid():
        try:
            upload = form.cleaned_data["upload"]
            if upload is not None:
                form.instance.evidence = evidence.accept(upload, site=visit.site, by=visit.actor)
            stored = recalls.start(form.instance, by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.warning(request, _("What rested on it is in doubt from now on. Answer for each."))
            return redirect("maintenance:recall_page", site, stored.pk)
    more = context(visit, form=form)
    return render(request, "maintenance/calibrating/recall.html", more, status=422 if form.is_bound else 200)


def _recall(visit: Visit, pk: int) -> Recall:
    rows = Recall.objects.filter(site=visit.site).select_related("site", "reference", "equipment", "evidence")
    return get_object_or_404(rows, pk=pk)


def _groups(subjects: list[recalls.Subject]) -> list[dict[str, Any]]:
    return [
        {"kind": kind, "title": _(title), "lines": [one for one in subjects if one.kind == kind]}
        for kind, title in TITLES.items()
    ]


def recall_page(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show everything that a recall reaches and what is left open."""
    visit = enter(request, site, Act.SEE)
    recall = _recall(visit, pk)
    found = recalls.subjects(recall)
    more = context(
        visit, row=recall, groups=_groups(found), open=sum(one.answer is None for one in found), count=len(found),
        spans=recalls.spans_in_doubt(recall), may_answer=visit.may(Act.RETURN),
        history=timeline(recall, ZoneInfo(visit.site.zone)),
    )  # fmt: skip
    return render(request, "maintenance/calibrating/recall_page.html", more)


def _name(subject: recalls.Subject) -> str:
    """Return what a thing in doubt is called in a list."""
    row = subject.row
    if subject.kind == CALIBRATION:
        return str(row.equipment)
    return f"{row.cylinder}, {row.cylinder.bank}" if subject.kind == ANALYSIS else str(row)


def answer_recall(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Answer for things in doubt: they stand after all, or were done again."""
    visit = enter(request, site, Act.RETURN)
    recall = _recall(visit, pk)
    still_open = [one for one in recalls.subjects(recall) if one.answer is None]
    form = AnswerForm(request.POST or None, initial={"subjects": request.GET.getlist("subjects")})
    form.fields["subjects"].choices = [  # type: ignore[attr-defined]  # a field with choices
        (one.key, f"{_(TITLES[one.kind])}: {_name(one)}, {day_text(one.on)}") for one in still_open
    ]
    if form.is_valid():
        typed = form.cleaned_data
        chosen = [one for one in still_open if one.key in typed["subjects"]]
        try:
            count = recalls.answer(recall, chosen, (typed["stands"] == "yes", typed["why"]), by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("%(n)s answered.") % {"n": count})
            return redirect("maintenance:recall_page", site, pk)
    more = context(visit, form=form, row=recall, open=len(still_open))
    return render(request, "maintenance/calibrating/answer.html", more, status=422 if form.is_bound else 200)
