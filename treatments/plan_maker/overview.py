"""Every table that counts at a site for one party: longest run and gas, with and without its extensions."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django import forms
from django.http import QueryDict
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _

from facility.access import Act, enter
from facility.models import Chamber
from treatments.compute.plan_asking import PlanDemandError
from treatments.plan_maker.forms import MOST_PEOPLE, as_query
from treatments.plan_maker.inputs import suggested
from treatments.plan_maker.working import Worked, compartments_of, locks_of, work_out
from treatments.table_book.tables import all_tables
from treatments.views.plans import context

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from facility.models import Lock, Site
    from treatments.compute.plan_asking import Asking
    from treatments.table_book.tables import TableInForce


class PartyForm(forms.Form):
    """Who goes inside, and how the chamber is fitted. Nothing of it is stored."""

    chamber = forms.ModelChoiceField(Chamber.objects.none(), label=_("Chamber"), empty_label=None)
    patients = forms.IntegerField(label=_("Patients"), min_value=0, max_value=MOST_PEOPLE, initial=1)
    tenders = forms.IntegerField(label=_("Tenders inside"), min_value=0, max_value=MOST_PEOPLE, initial=1)
    dump = forms.BooleanField(label=_("Exhaled oxygen goes overboard by a dump"), required=False)

    def open_at(self, site: Site) -> None:
        """Limit the choices to the site."""
        fields: Any = self.fields
        fields["chamber"].queryset = site.chambers.filter(retired_at=None)


@dataclass(frozen=True, slots=True)
class TableLine:
    """One table: worked out plain and with every extension that it allows; or why it cannot be."""

    found: TableInForce
    plain: Worked | None
    longest: Worked | None
    query: str
    fault: str = ""

    @property
    def extended(self) -> bool:
        """Whether the table has extensions at all."""
        return bool(self.found.table.extensions)


def every_table(request: HttpRequest, site: str) -> HttpResponse:
    """Show what each table that counts at the site would demand of a chamber for one party."""
    visit = enter(request, site, Act.SEE)
    chamber = visit.site.chambers.filter(retired_at=None).order_by("pk").first()
    start: dict[str, Any] = {"chamber": chamber.pk if chamber else "", "patients": "1", "tenders": "1"}
    form = PartyForm(start | {name: request.GET[name] for name in request.GET})
    form.open_at(visit.site)
    lines = []
    if form.is_valid():
        typed = form.cleaned_data
        compartments = compartments_of(typed["chamber"])
        lines = [_line(one, typed, compartments) for one in all_tables(visit.site)]
    more = context(visit, form=form, lines=lines)
    return render(
        request, "treatments/plan_maker/every.html", more, status=200 if form.is_valid() or not chamber else 422
    )


def _line(found: TableInForce, typed: dict[str, Any], compartments: tuple[Lock, ...]) -> TableLine:
    chamber = typed["chamber"]
    asked = replace(suggested(found.table, typed["patients"], typed["tenders"]), dump=typed["dump"])
    asking = _fitted(compartments, asked)
    query = QueryDict(mutable=True)
    query.update({"table": found.table.key, "chamber": str(chamber.pk)} | as_query(asking))
    try:
        plain = work_out(found, chamber, replace(asking, extensions={}), compartments)
        longest = work_out(found, chamber, asking, compartments)
    except PlanDemandError as error:
        return TableLine(found, None, None, query.urlencode(), str(error))
    return TableLine(found, plain, longest, query.urlencode())


def _fitted(compartments: tuple[Lock, ...], asking: Asking) -> Asking:
    """Return what is asked for without the locks that the chamber does not have."""
    locks = locks_of(compartments)
    return replace(
        asking,
        outer_fills=asking.outer_fills if locks.outer else 0,
        medical_fills=asking.medical_fills if locks.medical else 0,
    )
