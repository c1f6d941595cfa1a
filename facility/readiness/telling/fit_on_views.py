"""The page of who was fit on a day."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django import forms
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from facility import events
from facility.access import Act, enter
from facility.fields import DayField, day_text
from facility.readiness.telling.fit_on import fit_on as people_on

if TYPE_CHECKING:
    import datetime

    from django.http import HttpResponse

    from facility.http import StaffRequest

UNPROCESSABLE = 422


class DayForm(forms.Form):
    """The day asked about."""

    date = DayField(label=gettext_lazy("Day"))

    def __init__(self, *given: object, today: datetime.date, **more: object) -> None:
        super().__init__(*given, **more)  # type: ignore[arg-type]  # handed on
        self.today: datetime.date = today

    def clean_date(self) -> datetime.date:
        """Refuse a day that is not there yet."""
        found: datetime.date = self.cleaned_data["date"]
        if found > self.today:
            said = {"day": day_text(found), "today": day_text(self.today)}
            raise forms.ValidationError(
                _("%(day)s lies ahead of today, %(today)s. Crew hours show the days to come.") % said
            )
        return found


@require_safe
def fit_on(request: StaffRequest, site: str) -> HttpResponse:
    """Show what was on record of each of the crew on a day: as known then, and as known now."""
    visit = enter(request, site, Act.SEE)
    today = events.now().astimezone(ZoneInfo(visit.site.zone)).date()
    form = DayForm(request.GET if "date" in request.GET else {"date": day_text(today)}, today=today)
    day = form.cleaned_data["date"] if form.is_valid() else None
    context = {
        "visit": visit, "place": "people", "form": form, "day": day,
        "people": people_on(visit.site, day) if day is not None else [],
    }  # fmt: skip
    status = UNPROCESSABLE if form.errors else 200
    return render(request, "readiness/telling/fit_on.html", context, status=status)
