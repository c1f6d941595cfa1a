"""Acts on single kinds: a second look at a certificate, a contact rung."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from facility import events, services
from facility.access import Act, enter
from facility.compute.typed import whole
from facility.models import Contact, QualificationHeld
from facility.records.forms import SecondLookForm
from facility.records.states import moment_of
from facility.services import ChangedMeanwhileError


def second_look(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Let another person read the days of a certificate again; only then does it count."""
    visit = enter(request, site, Act.PEOPLE)
    rows = QualificationHeld.objects.filter(person__site=visit.site, retired_at=None, second_look_by="")
    row = get_object_or_404(rows.select_related("person", "kind", "scan"), pk=pk)
    form = SecondLookForm(request.POST or None)
    if form.is_valid():
        _compare(form, row, reader=visit.actor.name)
    if form.is_valid():
        row.second_look_by = visit.actor.name
        version = request.POST.get("shown_version", "")
        try:
            services.change(row, by=visit.actor, reason=_("Days read a second time from the paper."),
                            shown_version=whole(version), action="second look")  # fmt: skip
        except ChangedMeanwhileError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("The second look is recorded: %(what)s counts.") % {"what": row})
            return redirect("records:detail", site, "qualification", pk)
    context = {"visit": visit, "place": "people", "row": row, "form": form}
    return render(request, "records/second_look.html", context, status=422 if form.is_bound else 200)


def _compare(form: SecondLookForm, row: QualificationHeld, *, reader: str) -> None:
    """Refuse a second look by the one who looked first, or with other days than the first."""
    if reader == row.recorded_by:
        form.add_error(None, _("%(name)s read it first. The second look must be another person's.") % {"name": reader})
    for name in ("issued_on", "expires_on"):
        if form.cleaned_data.get(name) != getattr(row, name):
            form.add_error(
                name,
                _("The first reading says something else. Look at the paper again; if the first is wrong, correct it."),
            )


@require_POST
def confirmed(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Record that a contact's number was rung today and was right."""
    visit = enter(request, site, Act.PEOPLE)
    row = get_object_or_404(Contact.objects.filter(site=visit.site, retired_at=None), pk=pk)
    row.confirmed_on = moment_of(visit.site, events.now()).today
    version = request.POST.get("shown_version", "")
    try:
        services.change(row, by=visit.actor, reason=_("Rung today, it was right."),
                        shown_version=whole(version), action="confirmed")  # fmt: skip
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("Confirmed today: %(what)s.") % {"what": row})
    return redirect("records:detail", site, "contact", pk)
