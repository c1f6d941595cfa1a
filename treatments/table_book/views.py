"""Pages of the treatment tables: the list, one table, and comparing it with the printed handbook."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from facility.access import Act, enter
from facility.fields import refuse
from facility.http import StaffRequest
from treatments.compute.profile import profile
from treatments.models import SiteTable, TableConfirmation
from treatments.reference import FILES
from treatments.table_book import services
from treatments.table_book.forms import CLOCKS, ConfirmForm, WithdrawForm
from treatments.table_book.reading import notes_of, picture, rows_of, totals, values_of
from treatments.table_book.tables import (
    NoSuchTableError,
    TableStanding,
    all_tables,
    as_in_force,
    confirmations,
    table_for,
)

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from facility.access import Visit
    from treatments.table_book.tables import TableInForce

UNPROCESSABLE = 422


def context(visit: Visit, **more: Any) -> dict[str, Any]:
    """Return what every page of the tables needs."""
    return {
        "visit": visit,
        "place": "setup",
        "may_rules": visit.may(Act.RULES),
        "may_compare": visit.may(Act.LOG),
        **more,
    }


def found_table(visit: Visit, key: str) -> tuple[TableInForce, bool]:
    """Return a table of the site, and whether it counts: else its newest version, waiting or out of force.

    Errors: Http404 for a key that is none.
    """
    try:
        return table_for(visit.site, key), True
    except NoSuchTableError as error:
        newest = SiteTable.objects.filter(site=visit.site, key=key).order_by("-version").first()
        if newest is None:
            raise Http404(str(error)) from None
        return as_in_force(newest), False


def shown(found: TableInForce) -> dict[str, Any]:
    """Return what a page shows of one table."""
    plain = profile(found.table)
    return {
        "found": found, "table": found.table, "rows": rows_of(plain), "totals": totals(found.table),
        "picture": picture(plain), "clock": CLOCKS[found.table.clock],
        "unconfirmed": found.standing == TableStanding.UNCONFIRMED,
    }  # fmt: skip


def tables(request: HttpRequest, site: str) -> HttpResponse:
    """List shipped and own tables with body, revision, length and standing, and proposals that wait."""
    visit = enter(request, site)
    found = [(one, totals(one.table)) for one in all_tables(visit.site)]
    compared = {key: len(rows) for (key, digest), rows in confirmations(visit.site).items()
                if any(one.table.key == key and one.digest == digest for one, _total in found)}  # fmt: skip
    waiting = SiteTable.objects.filter(site=visit.site, retired_at=None, approved_at=None)
    lines = [(one, total, compared.get(one.table.key, 0)) for one, total in found]
    return render(request, "treatments/table_book/tables.html", context(visit, lines=lines, waiting=list(waiting)))


def table(request: HttpRequest, site: str, table: str) -> HttpResponse:
    """Show one table: profile, rates, gases, extensions, every value with its standing, notes, who compared it."""
    visit = enter(request, site)
    found, in_force = found_table(visit, table)
    own = list(SiteTable.objects.filter(site=visit.site, key=table)) if table not in FILES else []
    more = context(
        visit, **shown(found), values=values_of(table), notes=notes_of(table), own=own,
        confirmed=confirmations(visit.site).get((table, found.digest), []), is_shipped=table in FILES, in_force=in_force,
    )  # fmt: skip
    return render(request, "treatments/table_book/table.html", more)


def confirm_table(request: StaffRequest, site: str, table: str) -> HttpResponse:
    """Show every value beside the form in which somebody says that the printed handbook has the same."""
    visit = enter(request, site, Act.LOG)
    if table not in FILES:
        raise Http404
    found = table_for(visit.site, table)
    form = ConfirmForm(request.POST or None, request=request, initial={"shown": found.digest})
    if form.is_valid():
        typed = form.cleaned_data
        try:
            services.confirm(visit.site, table, typed["handbook"], shown_digest=typed["shown"], by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("Recorded: %(who)s compared %(table)s with the printed handbook.")
                             % {"who": visit.actor.name, "table": found.table.title})  # fmt: skip
            return redirect("treatments:table", site, table)
    more = context(visit, **shown(found), values=values_of(table), notes=notes_of(table), form=form)
    status = UNPROCESSABLE if form.is_bound else 200
    return render(request, "treatments/table_book/confirm.html", more, status=status)


def take_back(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Let a comparison with a printed handbook no longer count."""
    visit = enter(request, site, Act.LOG)
    row = get_object_or_404(TableConfirmation.objects.filter(site=visit.site, retired_at=None), pk=pk)
    form = WithdrawForm(request.POST or None)
    if form.is_valid():
        try:
            services.take_back(row, reason=form.cleaned_data["reason"], by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            return redirect("treatments:table", site, row.table)
    status = UNPROCESSABLE if form.is_bound else 200
    return render(request, "treatments/table_book/take_back.html", context(visit, row=row, form=form), status=status)
