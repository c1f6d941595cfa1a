"""The first site: before it there is no page of a site to add one from."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy as _

from facility import services
from facility.http import actor_of
from facility.models import Organisation, Site
from facility.models.site import validate_zone


class FirstSiteForm(forms.Form):
    """An organisation and its site in one form."""

    organisation_name = forms.CharField(label=_("Who runs it"), max_length=200)
    organisation_key = forms.SlugField(
        label=_("Short key of who runs it"), max_length=60, help_text=_("Small letters, figures, dashes.")
    )
    name = forms.CharField(label=_("Name of the site"), max_length=200)
    key = forms.SlugField(
        label=_("Short key of the site"),
        max_length=60,
        help_text=_("Small letters, figures, dashes. It stands in every address, for example skerrow."),
    )
    zone = forms.CharField(
        label=_("Time zone"), max_length=60, validators=[validate_zone], help_text=_("For example Europe/Oslo.")
    )
    jurisdiction = forms.CharField(label=_("Whose codes apply here (optional)"), max_length=200, required=False)

    def refuse(self, error: ValidationError) -> None:
        """Show what a service refused, beside its field."""
        for name, found in error.error_dict.items():
            self.add_error(name if name in self.fields else None, found)


@transaction.atomic
def _store(typed: dict[str, Any], request: HttpRequest) -> Site:
    by = actor_of(request)
    try:
        runs_it = services.add(Organisation(key=typed["organisation_key"], name=typed["organisation_name"]), by=by)
    except ValidationError as error:
        raise ValidationError({f"organisation_{name}": found for name, found in error.error_dict.items()}) from error
    site = Site(
        organisation=runs_it,
        key=typed["key"],
        name=typed["name"],
        zone=typed["zone"],
        jurisdiction=typed["jurisdiction"],
    )
    return services.add(site, by=by)


def first_site(request: HttpRequest) -> HttpResponse:
    """Add an organisation with its site; only the first account may."""
    if not getattr(request.user, "is_superuser", False):
        raise PermissionDenied
    form = FirstSiteForm(request.POST or None)
    if form.is_valid():
        try:
            site = _store(form.cleaned_data, request)
        except ValidationError as error:
            form.refuse(error)
        else:
            return redirect("places:setup", site.key)
    return render(request, "records/first_site.html", {"form": form}, status=422 if form.is_bound else 200)
