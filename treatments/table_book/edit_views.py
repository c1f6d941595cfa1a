"""Pages of a site's own tables: the editor, approval by a second person, taking out of force."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from facility.access import Act, enter
from facility.compute.typed import whole
from facility.fields import refuse
from facility.http import StaffRequest
from treatments.compute.tables import TableError
from treatments.models import SiteTable
from treatments.reference import FILES
from treatments.table_book import services
from treatments.table_book.forms import (
    ApproveForm,
    ExtensionRows,
    SegmentRows,
    TableForm,
    WithdrawForm,
    initial_of,
    show_refusal,
)
from treatments.table_book.tables import NoSuchTableError, as_in_force, own_in_force, table_for
from treatments.table_book.views import UNPROCESSABLE, context, shown

if TYPE_CHECKING:
    from django.forms import BaseFormSet
    from django.http import HttpRequest, HttpResponse, QueryDict

    from facility.access import Visit

MORE_ROWS, MOST_FORMS = 6, 240


@dataclass(frozen=True, slots=True)
class Editor:
    """The forms of one table: its single values, its rows, its extensions."""

    form: TableForm
    rows: BaseFormSet[Any]
    extensions: BaseFormSet[Any]

    def is_valid(self) -> bool:
        """Check every form, so that all refusals are shown at once."""
        return all([self.form.is_valid(), self.rows.is_valid(), self.extensions.is_valid()])

    def parts(self) -> dict[str, Any]:
        """Return the table that was typed."""
        return self.form.parts() | {
            "segments": [one.row() for one in self.rows.forms if not one.is_empty()],
            "extensions": [one.part() for one in self.extensions.forms if not one.is_empty()],
        }


def _editor(data: QueryDict | None, copied: dict[str, Any] | None, key: str) -> Editor:
    single, rows, extensions = initial_of(copied) if copied else ({}, [], [])
    form = TableForm(data, initial=single | {"key": key})
    if key:
        form.fields["key"].disabled = True
    return Editor(
        form,
        SegmentRows(data, prefix="row", initial=rows),
        ExtensionRows(data, prefix="extension", initial=extensions),
    )


def _copied(visit: Visit, key: str) -> dict[str, Any] | None:
    if not key:
        return None
    try:
        return table_for(visit.site, key).parts
    except NoSuchTableError:
        return None


def edit_table(request: HttpRequest, site: str, table: str = "") -> HttpResponse:
    """Propose a table of the site's own, or the next version of one; ``?from=`` copies another as a start."""
    visit = enter(request, site, Act.RULES)
    if table and (table in FILES or not SiteTable.objects.filter(site=visit.site, key=table).exists()):
        raise Http404
    if request.method != "POST":
        editor = _editor(None, _copied(visit, request.GET.get("from") or table), table)
        return _shown(request, visit, editor, table)
    if "more" in request.POST:
        return _shown(request, visit, _editor(_with_more_rows(request.POST), None, table), table)
    editor = _editor(request.POST, None, table)
    if editor.is_valid() and (row := _proposed(editor, visit)) is not None:
        messages.success(request, _("Proposed: %(table)s, version %(n)d. Another person must approve it.")
                         % {"table": row.key, "n": row.version})  # fmt: skip
        return redirect("treatments:approve_table", site, row.pk)
    return _shown(request, visit, editor, table, status=UNPROCESSABLE)


def _proposed(editor: Editor, visit: Visit) -> SiteTable | None:
    typed = editor.form.cleaned_data
    try:
        return services.propose(visit.site, typed["key"], editor.parts(), typed["source"], by=visit.actor)
    except TableError as error:
        show_refusal(error, editor.form, editor.rows, editor.extensions)
    except ValidationError as error:
        refuse(editor.form, error)
    return None


def _with_more_rows(data: QueryDict) -> QueryDict:
    """Return what was typed with more empty rows after it."""
    copied = data.copy()
    for prefix, more in (("row", MORE_ROWS), ("extension", 1)):
        total = copied.get(f"{prefix}-TOTAL_FORMS", "0")
        copied[f"{prefix}-TOTAL_FORMS"] = str(min(whole(total), MOST_FORMS) + more)
    return copied


def _shown(request: HttpRequest, visit: Visit, editor: Editor, key: str, status: int = 200) -> HttpResponse:
    more = context(
        visit, form=editor.form, rows=editor.rows, extensions=editor.extensions, key=key,
        copy_from=[*FILES, *sorted(own_in_force(visit.site))],
    )  # fmt: skip
    return render(request, "treatments/table_book/edit.html", more, status=status)


def _own(visit: Visit, pk: int) -> SiteTable:
    return get_object_or_404(SiteTable.objects.filter(site=visit.site), pk=pk)


def approve_table(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Show a proposed version as it would count; the second person puts it in force with the password."""
    visit = enter(request, site, Act.RULES)
    row = _own(visit, pk)
    found = as_in_force(row)
    form = ApproveForm(request.POST or None, request=request, initial={"shown": found.digest})
    if form.is_valid():
        try:
            services.approve(row, shown_digest=form.cleaned_data["shown"], by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("In force: %(table)s, version %(n)d.") % {"table": row.key, "n": row.version})
            return redirect("treatments:table", site, row.key)
    proposed = (row.proposed_user is not None and row.proposed_user == visit.actor.user_id) or (
        row.proposed_by.casefold() == visit.actor.name.casefold()
    )
    before = own_in_force(visit.site).get(row.key)
    more = context(visit, **shown(found), row=row, form=form, by_oneself=proposed, before=before)
    status = UNPROCESSABLE if form.is_bound else 200
    return render(request, "treatments/table_book/approve.html", more, status=status)


def withdraw_table(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Take a table of the site out of force, or a proposal back."""
    visit = enter(request, site, Act.RULES)
    row = _own(visit, pk)
    form = WithdrawForm(request.POST or None)
    if form.is_valid():
        try:
            services.withdraw(row, reason=form.cleaned_data["reason"], by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(
                request, _("%(table)s, version %(n)d, no longer counts.") % {"table": row.key, "n": row.version}
            )
            return redirect("treatments:tables", site)
    status = UNPROCESSABLE if form.is_bound else 200
    return render(request, "treatments/table_book/withdraw.html", context(visit, row=row, form=form), status=status)
