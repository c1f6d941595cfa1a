"""Addresses: what a run computes from its log, and its picture."""

from __future__ import annotations

from django.urls import URLPattern, path

from treatments.figures import views

urlpatterns: list[URLPattern] = [
    path("<slug:site>/runs/<int:pk>/figures/", views.figures, name="figures"),
    path("<slug:site>/runs/<int:pk>/figures.json", views.figures_json, name="figures_json"),
    path("<slug:site>/runs/<int:pk>/picture.svg", views.picture, name="picture"),
]
