"""Pages after a run: what is owed, closing the record, signing it, the ledger of a person."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act, Visit, enter
from facility.http import StaffRequest
from facility.models import Person
from treatments.after.closing import close
from treatments.after.forms import CloseForm, NamingForm, SignForm
from treatments.after.ledger import ledger_of
from treatments.after.owed import left_open, to_do, to_look_at
from treatments.after.record import Record, record_of
from treatments.after.signing import ACT_OF, ChangedSinceShownError, Signing, missing_of, sign, signatures_of
from treatments.figures.state import figures_of
from treatments.figures.views import drawn
from treatments.models import Run

if TYPE_CHECKING:
    from treatments.log.reading import Line

CONFLICT, UNPROCESSABLE = 409, 422
#: lines of a log in one table of a page or paper
IN_ONE_TABLE = 200


def record_at(visit: Visit, pk: int) -> Record:
    """Return the record of a run of the site that left surface. Errors: Http404."""
    rows = Run.objects.filter(chamber__site=visit.site, started_at__isnull=False)
    run = get_object_or_404(rows.select_related("chamber__site", "plan", "lock"), pk=pk)
    return record_of(run, events.now())


def in_parts(lines: tuple[Line, ...], texts: dict[int, str] | None = None) -> list[list[tuple[Line, str]]]:
    """Return the lines of a log in tables of bounded length, each with its text about health where that is given."""
    told = [
        (line, "\n".join(text for one in (*line.old, line.entry) if (text := (texts or {}).get(one.pk)))) for line in lines
    ]  # fmt: skip
    return [told[start : start + IN_ONE_TABLE] for start in range(0, len(told), IN_ONE_TABLE)]


def shown(visit: Visit, record: Record, **more: Any) -> dict[str, Any]:
    """Return what every page and paper of a record is drawn from."""
    given = signatures_of(record)
    context = {"visit": visit, "place": "records", "record": record, "run": record.run, "given": given}
    return context | {"missing": missing_of(given), "log_parts": in_parts(record.lines)} | more


def after_run(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show what a run leaves to be done and looked at; a POST closes its record."""
    visit = enter(request, site, Act.SEE)
    record = record_at(visit, pk)
    if record.run.ended_at is None:
        messages.info(request, _("Run %(number)d has not reached surface yet.") % {"number": record.run.number})
        return redirect("treatments:run", site, pk)
    doing, looking = to_do(record, visit), to_look_at(record)
    form = None
    if visit.may(Act.RUN):
        form = CloseForm(request.POST if request.method == "POST" else None, again=record.closed)
    if request.method == "POST":
        enter(request, site, Act.RUN)
        if form is not None and form.is_valid():
            try:
                run = close(pk, left_open([*doing, *looking]), site=visit.site, reason=form.why, by=visit.actor)
            except ValidationError as error:
                form.add_error(None, error)
            else:
                messages.success(request, _("The record of run %(number)d is closed.") % {"number": run.number})
                return redirect("treatments:after_run", site, pk)
    may_see = visit.may(Act.PEOPLE) or visit.may(Act.MEDICAL)
    context = shown(
        visit, record, doing=doing, looking=looking, form=form, naming=NamingForm(), may_defect=visit.may(Act.DEFECT),
        may_take=visit.may(Act.LOG), may_name=visit.may(Act.PATIENT),
        crew=[one for one in record.places if one.person_id and one.inside] if may_see else [],
    )  # fmt: skip
    status = UNPROCESSABLE if form is not None and form.is_bound else 200
    return render(request, "treatments/after/after_run.html", context, status=status)


def sign_run(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Show the whole record; a POST with the password signs it as it was shown."""
    visit = enter(request, site, Act.SEE)
    record = record_at(visit, pk)
    may = [act for act in ACT_OF.values() if visit.may(act)]
    form = None
    if may and record.closed and not record.changed:
        initial = {"shown": record.digest}
        form = SignForm(request.POST or None, initial=initial, request=request, visit=visit)
    if request.method == "POST":
        enter(request, site, may[0] if may else Act.SIGN)
        if form is not None and form.is_valid():
            return _signed(request, visit, record, form)
        return _sign_page(request, visit, record, form, status=UNPROCESSABLE if form is not None else CONFLICT)
    return _sign_page(request, visit, record, form)


def _signed(request: StaffRequest, visit: Visit, record: Record, form: SignForm) -> HttpResponse:
    data = form.cleaned_data
    signing = Signing(data["capacity"], request.user.pk, data["shown"], data["comment"])
    try:
        row = sign(record.run.pk, signing, site=visit.site, by=visit.actor)
    except ValidationError as error:
        if isinstance(error, ChangedSinceShownError):
            typed = request.POST.copy()
            typed["shown"] = record.digest
            form = SignForm(typed, request=request, visit=visit)
        form.add_error(None, error)
        return _sign_page(request, visit, record, form, status=CONFLICT)
    messages.success(request, _("Signed as %(capacity)s.") % {"capacity": row.get_capacity_display()})
    return redirect("treatments:after_run", visit.site.key, record.run.pk)


def _sign_page(
    request: HttpRequest, visit: Visit, record: Record, form: SignForm | None, *, status: int = 200
) -> HttpResponse:
    drawing = drawn(record.run, figures_of(record.run, events.now()))
    picture = mark_safe(drawing)  # noqa: S308  # drawn by svg(), which escapes
    return render(
        request, "treatments/after/sign.html", shown(visit, record, form=form, picture=picture), status=status
    )


def person_at(request: HttpRequest, visit: Visit, pk: int) -> Person:
    """Return a person of the site whose exposure the visitor may see: the person's own, or by the right to.

    Errors: Http404; PermissionDenied.
    """
    person = Person.objects.filter(pk=pk, site=visit.site).first()
    if person is None:
        raise Http404
    own = person.user_id is not None and person.user_id == getattr(request.user, "pk", None)
    if not (own or visit.may(Act.PEOPLE) or visit.may(Act.MEDICAL)):
        raise PermissionDenied
    return person


def exposures(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Show the exposure ledger of one person, to that person and to who keeps people or their fitness."""
    visit = enter(request, site, Act.SEE)
    person = person_at(request, visit, pk)
    now = events.now()
    context = {"visit": visit, "place": "people", "person": person, "ledger": ledger_of(person, now), "now": now,
               "may_print": visit.may(Act.PEOPLE) or person.user_id == request.user.pk}  # fmt: skip
    return render(request, "treatments/after/exposures.html", context)
