"""Addresses of the smaller papers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.urls import path

from facility.small_papers import check, due_paper, people_urls, views, wall_paper

if TYPE_CHECKING:
    from django.urls import URLPattern

app_name = "small_papers"
urlpatterns: list[URLPattern] = [
    path("<slug:site>/papers/", views.papers, name="papers"),
    path("<slug:site>/papers/due/", due_paper.due, name="due"),
    path("<slug:site>/papers/wall/", wall_paper.wall, name="wall"),
    path("<slug:site>/papers/check/<int:pk>/", check.check, name="check"),
    *people_urls.urlpatterns,
]
