"""The pages of every kind of record: list, detail, add, correct, retire."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from facility import events, services
from facility.access import Act, Visit, enter
from facility.fields import nothing_to_choose
from facility.models import Kept
from facility.records import saving
from facility.records.forms import ReasonForm, RecordForm, form_class
from facility.records.in_use import keeps
from facility.records.kinds import BY_SLUG, RecordKind
from facility.records.pages import detail_context, list_context, resting_on, title_of
from facility.records.purposes import PURPOSES
from facility.records.scope import of_site
from facility.records.states import Moment, moment_of
from facility.services import ChangedMeanwhileError
from facility.shown import all_of
from maintenance.models import WorkRecord
from maintenance.services import leads_to_defect


@dataclass(frozen=True, slots=True)
class Desk:
    """One request at one kind of record: who, where, when, and whether they may change it."""

    kind: RecordKind
    visit: Visit
    moment: Moment
    first_account: bool

    @property
    def may_change(self) -> bool:
        """Whether this person may correct such a record."""
        return self.visit.may(self.kind.act)

    @property
    def may_add(self) -> bool:
        """Whether this person may add and retire such records."""
        return self.may_change and (self.first_account or not self.kind.first_account_only)

    def title(self, row: Kept) -> str:
        """Return the name of a row, its times in the site's zone."""
        return title_of(self.kind, row, self.moment)

    def rows(self) -> QuerySet[Any]:
        """Return the rows this person may see."""
        if self.kind.first_account_only and self.first_account:
            return self.kind.prepared(self.kind.model._default_manager.all())
        return self.kind.rows(self.visit.site)

    def form(
        self, request: HttpRequest, row: Kept, *, correcting: bool, initial: dict[str, Any] | None = None
    ) -> RecordForm:
        """Return the form for a row, filled from the request where it was sent."""
        made = form_class(self.kind, correcting=correcting)
        form = made(request.POST or None, request.FILES or None, instance=row, initial=initial)
        form.open_at(self.kind, self.visit, self.moment, first_account=self.first_account)
        return form

    def context(self, **more: Any) -> dict[str, Any]:
        """Return what every page of records needs."""
        return {
            "visit": self.visit, "place": self.kind.place, "kind": self.kind, "moment": self.moment,
            "title_of_kind": capfirst(str(self.kind.many)), "may_add": self.may_add, "may_change": self.may_change, **more,
        }  # fmt: skip


def desk_of(request: HttpRequest, site: str, slug: str, *, act: Act | None = None, adding: bool = False) -> Desk:
    """Enter the site and find the kind.

    Errors: Http404 for an unknown kind; PermissionDenied without the act, or for what the first account alone may do.
    """
    kind = BY_SLUG.get(slug)
    if kind is None:
        raise Http404
    visit = enter(request, site, act or Act.SEE)
    desk = Desk(kind, visit, moment_of(visit.site, events.now()), bool(getattr(request.user, "is_superuser", False)))
    if adding and not desk.may_add:
        raise PermissionDenied
    return desk


def act_of(slug: str) -> Act:
    """Return the act that changes a kind. Errors: Http404 for an unknown kind."""
    if slug not in BY_SLUG:
        raise Http404
    return BY_SLUG[slug].act


def records(request: HttpRequest, site: str, kind: str) -> HttpResponse:
    """List the records of one kind."""
    desk = desk_of(request, site, kind)
    rows = desk.rows() if request.GET.get("all") == "1" else desk.rows().filter(retired_at=None)
    if words := request.GET.get("q", "").strip()[:100]:
        rows = rows.filter(_holding(words, desk.kind))
    for parent in desk.kind.parents:
        if request.GET.get(parent, "").isdecimal():
            rows = rows.filter(**{f"{parent}_id": int(request.GET[parent])})
    more = list_context(request.GET, desk.kind, rows, desk.moment)
    return render(request, "records/list.html", desk.context(purpose=PURPOSES[desk.kind.slug], **more))


def _holding(words: str, kind: RecordKind) -> Q:
    found = Q()
    for word in words.split():
        somewhere = Q()
        for path in kind.search:
            somewhere |= Q(**{f"{path}__icontains": word})
        found &= somewhere
    return found


def detail(request: HttpRequest, site: str, kind: str, pk: int) -> HttpResponse:
    """Show one record with its state, its history and what hangs on it."""
    desk = desk_of(request, site, kind)
    row = get_object_or_404(desk.rows(), pk=pk)
    return render(
        request, "records/detail.html", desk.context(**detail_context(desk.kind, row, desk.moment, desk.visit))
    )


def add(request: HttpRequest, site: str, kind: str) -> HttpResponse:
    """Add a record; a failed work record leads on to raising a defect."""
    desk = desk_of(request, site, kind, act=act_of(kind), adding=True)
    initial = {name: request.GET[name] for name in desk.kind.fields if request.GET.get(name)}
    form = desk.form(
        request, saving.fresh_row(desk.kind, desk.visit), correcting=False, initial=_with_units(desk, initial)
    )
    if form.is_valid():
        try:
            row = saving.add(desk.kind, form, desk.visit)
        except ValidationError as error:
            form.refuse(error)
        else:
            return _after_add(request, desk, row)
    return render(
        request,
        "records/form.html",
        desk.context(form=form, lacks=nothing_to_choose(form)),
        status=422 if form.is_bound else 200,
    )


def _with_units(desk: Desk, initial: dict[str, Any]) -> dict[str, Any]:
    """Offer what a gauge or the site already says: the unit on the bank's gauge, who reads, when."""
    bank = initial.get("bank", "")
    if desk.kind.slug == "reading" and str(bank).isdecimal():
        from_gauge = (
            of_site(BY_SLUG["bank"].model, desk.visit.site).filter(pk=bank).values_list("gauge_unit", flat=True)
        )
        initial |= {"unit": from_gauge.first() or ""}
    for name in ("read_at", "analysed_at", "opened_at"):
        if name in desk.kind.fields:
            initial.setdefault(name, desk.moment.now)
    for name in ("read_by", "analysed_by", "done_by"):
        if name in desk.kind.fields:
            initial.setdefault(name, desk.visit.actor.name)
    return initial


def _after_add(request: HttpRequest, desk: Desk, row: Kept) -> HttpResponse:
    site = desk.visit.site.key
    if isinstance(row, WorkRecord) and leads_to_defect(row):
        messages.warning(request, _("The failed result is recorded. Now raise the defect, so that it counts."))
        what = _("%(act)s failed: %(note)s") % {"act": row.rule.name if row.rule else _("Work"), "note": row.note}
        query = urlencode({"equipment": str(row.equipment_id), "what": what.strip().removesuffix(":")})
        return redirect(f"{reverse('maintenance:raise_defect', args=[site])}?{query}")
    messages.success(request, _("Recorded: %(what)s.") % {"what": desk.title(row)})
    return redirect("records:detail", site, desk.kind.slug, row.pk)


def correct(request: HttpRequest, site: str, kind: str, pk: int) -> HttpResponse:
    """Correct a record: a kept thing in place, an entry by another that supersedes it."""
    desk = desk_of(request, site, kind, act=act_of(kind))
    old = get_object_or_404(desk.rows(), pk=pk)
    if not old.is_current:
        return _no_longer(request, desk, old)
    row = saving.successor(old) if desk.kind.is_entry else old
    form = desk.form(request, row, correcting=True, initial={"shown_version": old.row_version})
    if form.is_valid():
        try:
            stored = saving.correct(desk.kind, form, old, desk.visit)
        except ChangedMeanwhileError as error:
            return _both_versions(request, desk, form, error.stored)
        except ValidationError as error:
            form.refuse(error)
        else:
            messages.success(request, _("Corrected: %(what)s.") % {"what": desk.title(stored)})
            return redirect("records:detail", site, kind, stored.pk)
    return render(
        request,
        "records/form.html",
        desk.context(form=form, row=old, title=desk.title(old)),
        status=422 if form.is_bound else 200,
    )


def _both_versions(request: HttpRequest, desk: Desk, form: RecordForm, stored: Kept) -> HttpResponse:
    """Show what is stored now beside what was typed; sending again takes the typed one."""
    form.show_version(stored.row_version)
    beside = _pairs(desk, form, stored)
    context = desk.context(
        form=form,
        row=stored,
        title=desk.title(stored),
        stored=stored,
        beside=beside,
        next_row=getattr(stored, "superseded_by", None),
    )
    return render(request, "records/changed.html", context, status=409)


def _pairs(desk: Desk, form: RecordForm, stored: Kept) -> list[tuple[str, str, str]]:
    now = all_of(stored, desk.kind.fields, desk.moment.zone)
    typed = all_of(form.instance, desk.kind.fields, desk.moment.zone)
    return [(a.label, a.text, b.text) for a, b in zip(now, typed, strict=True)]


def _no_longer(request: HttpRequest, desk: Desk, row: Kept) -> HttpResponse:
    """Tell that a row no longer counts, and lead to the one that took its place."""
    context = desk.context(
        row=row, title=desk.title(row), stored=row, next_row=getattr(row, "superseded_by", None), beside=[]
    )
    return render(request, "records/changed.html", context, status=409)


def retire(request: HttpRequest, site: str, kind: str, pk: int) -> HttpResponse:
    """Let a record no longer count, with the reason; it stays readable."""
    desk = desk_of(request, site, kind, act=act_of(kind), adding=True)
    row = get_object_or_404(desk.rows(), pk=pk)
    form = ReasonForm(request.POST or None)
    if not row.is_current:
        return _no_longer(request, desk, row)
    held = keeps(row)
    if form.is_bound and held:
        form.add_error(None, held)
    if form.is_valid():
        try:
            services.retire(row, by=desk.visit.actor, reason=form.cleaned_data["reason"])
        except ChangedMeanwhileError as error:
            return _no_longer(request, desk, error.stored)
        messages.success(request, _("No longer counts: %(what)s.") % {"what": desk.title(row)})
        gone = desk.kind.slug == "site" and row.pk == desk.visit.site.pk
        return redirect("/") if gone else redirect("records:detail", site, kind, row.pk)
    return render(
        request,
        "records/retire.html",
        desk.context(form=form, row=row, title=desk.title(row), rests=resting_on(row), held=held),
        status=422 if form.is_bound else 200,
    )


def bring_back(request: HttpRequest, site: str, kind: str, pk: int) -> HttpResponse:
    """Let a retired thing count again, with the reason; a statement is made anew instead."""
    desk = desk_of(request, site, kind, act=act_of(kind), adding=True)
    row = get_object_or_404(desk.rows(), pk=pk)
    if desk.kind.is_entry:
        raise Http404
    if row.is_current:
        return redirect("records:detail", site, kind, row.pk)
    form = ReasonForm(request.POST or None)
    if form.is_valid():
        try:
            services.bring_back(row, by=desk.visit.actor, reason=form.cleaned_data["reason"])
        except ValidationError as error:
            row.refresh_from_db()
            form.add_error(None, error.messages)
        else:
            messages.success(request, _("It counts again: %(what)s.") % {"what": desk.title(row)})
            return redirect("records:detail", site, kind, row.pk)
    context = desk.context(form=form, row=row, title=desk.title(row))
    return render(request, "records/bring_back.html", context, status=422 if form.is_bound else 200)
