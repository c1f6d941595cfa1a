"""Pages of planned shut-downs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from facility import events
from facility.access import Act, enter
from facility.fields import InstantField, refuse
from facility.models import Chamber, ShutDown, Site
from facility.readiness.shut_downs import services

if TYPE_CHECKING:
    from django.http import HttpResponse

    from facility.http import StaffRequest

UNPROCESSABLE = 422
MOST = 100


class ShutDownForm(forms.ModelForm[ShutDown]):
    """A span in which a chamber is shut on purpose."""

    starts_at = InstantField(label=gettext_lazy("From"))
    ends_at = InstantField(label=gettext_lazy("Until"))

    class Meta:
        model = ShutDown
        fields = ["chamber", "starts_at", "ends_at", "why"]

    def open_at(self, site: Site) -> None:
        """Offer the site's chambers and read times in its zone."""
        fields: Any = self.fields
        fields["chamber"].queryset = Chamber.objects.filter(site=site, retired_at=None)
        fields["chamber"].initial = fields["chamber"].queryset.first()
        fields["starts_at"].set_zone(site.zone)
        fields["ends_at"].set_zone(site.zone)


def shut_downs(request: StaffRequest, site: str) -> HttpResponse:
    """List the shut-downs; a form plans the next one."""
    visit = enter(request, site, Act.PLANT if request.method == "POST" else Act.SEE)
    form = ShutDownForm(request.POST or None)
    form.open_at(visit.site)
    if form.is_valid():
        try:
            services.plan(form.instance, by=visit.actor)
        except ValidationError as error:
            refuse(form, error)
        else:
            messages.success(request, _("The shut-down is kept. Coming 90 days shows what it does to each table."))
            return redirect("readiness:shut_downs", site)
    now = events.now()
    rows = ShutDown.objects.filter(chamber__site=visit.site).select_related("chamber").order_by("-starts_at")[:MOST]
    lines = [(row, row.retired_at is None and row.ends_at > now, row.starts_at <= now) for row in rows]
    context = {"visit": visit, "place": "plant", "form": form, "lines": lines, "may_plan": visit.may(Act.PLANT)}
    status = UNPROCESSABLE if form.is_bound else 200
    return render(request, "readiness/shut_downs/shut_downs.html", context, status=status)


@require_POST
def take_back(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Let a shut-down count no longer."""
    visit = enter(request, site, Act.PLANT)
    row = get_object_or_404(ShutDown, pk=pk, chamber__site=visit.site)
    try:
        services.take_back(row, by=visit.actor, reason=request.POST.get("reason", ""))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("readiness:shut_downs", site)
