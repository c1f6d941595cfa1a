"""Every address of the app."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("facility.accounts.urls")),
    path("", include("facility.readiness.urls")),
]
