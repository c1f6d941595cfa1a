"""Addresses of the papers on one thing, one person and one year."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.urls import path

from facility.small_papers import item_views, personal_views, year_paper

if TYPE_CHECKING:
    from django.urls import URLPattern

urlpatterns: list[URLPattern] = [
    path("<slug:site>/papers/equipment/<path:tag>/", item_views.equipment, name="equipment"),
    path("<slug:site>/papers/person/<slug:key>/", personal_views.personal, name="personal"),
    path("<slug:site>/papers/year/", year_paper.year_end, name="year_end"),
]
