"""Addresses: changing a line of the log of a run, and its blank paper. Writing and watching stand with readiness."""

from __future__ import annotations

from django.urls import URLPattern, path

from treatments.log import views

urlpatterns: list[URLPattern] = [
    path("<slug:site>/runs/<int:pk>/log/<int:entry_pk>/correct/", views.correct_entry, name="correct_entry"),
    path("<slug:site>/runs/<int:pk>/log/<int:entry_pk>/strike/", views.strike_entry, name="strike_entry"),
    path("<slug:site>/runs/<int:pk>/log/paper/", views.log_paper, name="log_paper"),
]
