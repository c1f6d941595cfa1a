"""Pages of what codes ask for: the rules offered, side by side where they differ, and taking one on."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.access import Act, enter
from facility.fields import refuse
from maintenance.compute.requirements import conflicts, jurisdictions_of, offered, types_of
from maintenance.models import IntervalRule
from maintenance.reference import requirements
from maintenance.upkeep.adopt_form import AdoptForm
from maintenance.upkeep.adopting import ADOPTABLE, adopt, by_key, conflicting, deviations, left_out, source_text
from maintenance.upkeep.offers import Offer, offer_of
from maintenance.upkeep.views import context_of

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from facility.models import Site


def every(request: HttpRequest, site: str) -> HttpResponse:
    """Show the rules of codes that fit a type of chamber and jurisdictions, conflicts side by side, and deviations."""
    visit = enter(request, site, Act.SEE)
    every_rule = requirements()
    types = frozenset(request.GET.getlist("type")) & set(types_of(every_rule)) or frozenset(types_of(every_rule))
    places = frozenset(request.GET.getlist("where")) & set(jurisdictions_of(every_rule))
    chosen = offered(every_rule, types, places or frozenset(jurisdictions_of(every_rule)))
    adopted = _adopted(visit.site)
    groups: dict[str, list[Offer]] = defaultdict(list)
    for rule in chosen:
        groups[rule.subject].append(offer_of(rule, adopted.get(rule.key, [])))
    differing = [(row, found) for rows in adopted.values() for row in rows if (found := deviations(row))]
    context = context_of(
        visit, groups=sorted(groups.items()), count=len(chosen), types=types_of(every_rule), chosen_types=types,
        places=jurisdictions_of(every_rule), chosen_places=places, differing=differing,
        pairs=[(offer_of(one), offer_of(two)) for one, two in conflicts(chosen)],
    )  # fmt: skip
    return render(request, "maintenance/upkeep/requirements.html", context)


def _adopted(site: Site) -> dict[str, list[IntervalRule]]:
    rows = IntervalRule.objects.filter(equipment__site=site, retired_at=None).exclude(requirement="")
    found: dict[str, list[IntervalRule]] = defaultdict(list)
    for row in rows.select_related("equipment").order_by("equipment__tag"):
        found[row.requirement].append(row)
    return found


def take_on(request: HttpRequest, site: str, key: str) -> HttpResponse:
    """Take on a rule of a code for some items."""
    visit = enter(request, site, Act.RULES)
    rule = by_key(key)
    if rule is None:
        raise Http404
    form = AdoptForm.for_rule(rule, request.POST or None)
    form.offer(rule, visit.site, every=request.GET.get("all") == "1")
    if rule.interval.kind in ADOPTABLE and form.is_valid():
        try:
            stored = adopt(rule, form.cleaned_data["items"], form.terms(), by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            words = ngettext("The rule stands on %(n)d item.", "The rule stands on %(n)d items.", len(stored))
            messages.success(request, words % {"n": len(stored)})
            return redirect("maintenance:requirements", site)
    context = context_of(
        visit, form=form, offer=offer_of(rule), others=[offer_of(one) for one in conflicting(rule)], source=source_text(rule),
        left_out=left_out(rule), adoptable=rule.interval.kind in ADOPTABLE, title=_("Take on: %(what)s") % {"what": rule.what},
    )  # fmt: skip
    return render(request, "maintenance/upkeep/adopt.html", context, status=422 if form.is_bound else 200)
