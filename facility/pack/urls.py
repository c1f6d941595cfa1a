"""Addresses."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.urls import path

from facility.pack import code_views, verify_views, views

if TYPE_CHECKING:
    from django.urls import URLPattern

app_name = "pack"
urlpatterns: list[URLPattern] = [
    path("verify/", verify_views.verify, name="verify"),
    path("verify/code/", code_views.code, name="code"),
    path("verify/<slug:token>/", verify_views.verified, name="verified"),
    path("<slug:site>/packs/", views.packs, name="packs"),
    path("<slug:site>/packs/<int:number>/", views.pack, name="pack"),
    path("<slug:site>/packs/<int:number>/again/", views.again, name="again"),
    path("<slug:site>/packs/<int:number>/fetch/", views.fetch, name="fetch"),
]
