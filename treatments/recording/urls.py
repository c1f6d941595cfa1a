"""Addresses: profiles recorded by an instrument: taken in, cut, compared."""

from __future__ import annotations

from django.urls import URLPattern, path

from treatments.recording import views

urlpatterns: list[URLPattern] = [
    path("<slug:site>/runs/<int:pk>/record/", views.take_profile, name="take_profile"),
    path("<slug:site>/records-of-runs/<int:pk>/", views.profile, name="profile"),
]
