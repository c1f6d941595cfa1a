"""Addresses."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.urls import path

from facility.fleet import views

if TYPE_CHECKING:
    from django.urls import URLPattern

app_name = "fleet"
urlpatterns: list[URLPattern] = [
    path("organisation/", views.organisation, name="organisation"),
    path("organisation.json", views.organisation_json, name="organisation_json"),
]
