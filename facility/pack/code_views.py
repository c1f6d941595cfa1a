"""Comparing the short code on a printed paper with this log, without an account."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from django import forms
from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility import events
from facility.fields import DayField
from facility.pack import asking
from facility.trust import chain, containing

if TYPE_CHECKING:
    from datetime import date

    from django.http import HttpRequest, HttpResponse

UNPROCESSABLE, TOO_MANY = 422, 429
ZONES: Final = timedelta(hours=14)
"""By how much a day on paper may differ from one in UTC, at most."""


class CodeForm(forms.Form):
    """A code as it stands on paper, and the day beside it."""

    code = forms.CharField(
        label=gettext_lazy("Code"), max_length=80, help_text=gettext_lazy("8 groups of 4, as at the end of a printed paper."),
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false", "autocapitalize": "none"}),
    )  # fmt: skip
    day = DayField(label=gettext_lazy("Day beside the code"))

    def clean_code(self) -> str:
        """Return its digits."""
        try:
            return containing.code_of(self.cleaned_data["code"])
        except containing.CodeError as error:
            raise ValidationError(str(error), code="code") from error


@login_not_required
def code(request: HttpRequest) -> HttpResponse:
    """Take a code and a day; say whether a signed head with that code is in this log, and what that does not prove."""
    form = CodeForm(request.POST or None)
    if not form.is_valid():
        return _page(request, form, {}, UNPROCESSABLE if form.is_bound else 200)
    try:
        asking.refuse_many(request.META.get("REMOTE_ADDR", ""))
    except asking.TooManyError as error:
        return _page(request, form, {"refused": str(error)}, TOO_MANY)
    found = containing.find(form.cleaned_data["code"])
    return _page(request, form, {"asked": True, "found": found} | _told(found, form.cleaned_data["day"]))


def _told(found: containing.Found | None, day: date) -> dict[str, Any]:
    if found is None:
        return {}
    begins = datetime.combine(day, datetime.min.time(), UTC) - ZONES
    fits = begins <= found.head.made_at < begins + timedelta(days=1) + 2 * ZONES
    return {"day_fits": fits, "day": day, "signer": chain.grouped(found.signer.fingerprint) if found.signer else ""}


def _page(request: HttpRequest, form: CodeForm, more: dict[str, Any], status: int = 200) -> HttpResponse:
    context = {"form": form, "not_proved": not_proved(), "demo_log": settings.DEMO, "at": events.now(), **more}
    return render(request, "pack/code.html", context, status=status)


def not_proved() -> list[str]:
    """Return what a code that fits does not show."""
    return [
        _("That a reading was true, or that what was done was right."),
        _(
            "That the rest of the paper is as it was printed: only its code was compared. A paper with a seal, or a pack, shows more."
        ),
        _(
            "That nothing was built anew after this head: what came later rests on later heads that somebody outside holds."
        ),
        _(
            "That this page tells the truth: whoever has the machine has the page. Compare with a pack and its verify.html."
        ),
    ]
