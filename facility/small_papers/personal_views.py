"""The page from which the record of one person is printed: by that person, or by those who keep the people, with a reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import forms
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from facility import events
from facility.access import Act, Visit, enter
from facility.events import What
from facility.models import Person
from facility.small_papers.forms import PrintForm
from facility.small_papers.making import answer, print_of
from facility.small_papers.personal import personal_paper

if TYPE_CHECKING:
    from facility.http import StaffRequest

REFUSED = 422
MADE = 200
PRINTED = "personal record printed"


class OthersForm(PrintForm):
    """What is asked of somebody who prints the record of another: why."""

    reason = forms.CharField(
        label=_("Why you print another person's record"), max_length=300, widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("It is kept in the log with your name; the person can read it there."),
    )  # fmt: skip


def _person(request: StaffRequest, visit: Visit, key: str) -> tuple[Person, bool]:
    """Return a person whose record the visitor may print, and whether it is their own.

    Errors: Http404; PermissionDenied for anybody but the person, supervisors and directors.
    """
    person = Person.objects.filter(site=visit.site, key=key).select_related("site").first()
    if person is None:
        raise Http404
    own = person.user_id is not None and person.user_id == request.user.pk
    if not own and not visit.may(Act.PEOPLE):
        raise PermissionDenied
    return person, own


@require_http_methods(["GET", "HEAD", "POST"])
def personal(request: StaffRequest, site: str, key: str) -> HttpResponse:
    """Ask for the sheet, of another's record for a reason too, and send it. Another's print is an event."""
    visit = enter(request, site, Act.SEE)
    person, own = _person(request, visit, key)
    kind = PrintForm if own else OthersForm
    form = kind(request.POST or None)
    if request.method == "POST" and form.is_valid():
        return _send(visit, person, form)
    context = {"visit": visit, "place": "people", "person": person, "own": own, "form": form}
    return render(request, "small_papers/personal.html", context, status=REFUSED if form.is_bound else MADE)


@transaction.atomic
def _send(visit: Visit, person: Person, form: PrintForm) -> HttpResponse:
    """Send the record; that another's left the box is kept, what it says is not."""
    printed = print_of(visit, form.cleaned_data["size"], seal=form.cleaned_data["seal"])
    sent = answer(personal_paper(person, printed), printed)
    reason = form.cleaned_data.get("reason")
    if reason is not None and sent.status_code == MADE:
        events.record(person, What(PRINTED, reason, site_key=visit.site.key), by=visit.actor)
    return sent
