"""Addresses of near misses and frozen records."""

from __future__ import annotations

from django.urls import path

from treatments.reporting import views

urlpatterns = [
    path("<slug:site>/near-miss/", views.report, name="report_near_miss"),
    path("<slug:site>/near-misses/", views.every, name="near_misses"),
    path("<slug:site>/near-misses/<int:pk>/", views.near_miss, name="near_miss"),
    path("<slug:site>/frozen/", views.freezes, name="freezes"),
    path("<slug:site>/frozen/new/", views.freeze, name="freeze"),
    path("<slug:site>/frozen/<int:pk>/", views.frozen, name="frozen"),
]
