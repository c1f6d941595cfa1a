"""Addresses of the smaller papers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.urls import path

from facility.small_papers import people_urls, views

if TYPE_CHECKING:
    from django.urls import URLPattern

app_name = "small_papers"
urlpatterns: list[URLPattern] = [
    path("<slug:site>/papers/", views.papers, name="papers"),
    *people_urls.urlpatterns,
]
