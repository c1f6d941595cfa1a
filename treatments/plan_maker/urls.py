"""Addresses: plans worked out from treatment tables, and a plan in force beside its table."""

from __future__ import annotations

from django.urls import URLPattern, path

from treatments.plan_maker import overview, views

urlpatterns: list[URLPattern] = [
    path("<slug:site>/plans/make/", views.make_plan, name="make_plan"),
    path("<slug:site>/plans/every-table/", overview.every_table, name="every_table"),
    path("<slug:site>/plans/from-table/", views.plan_from_table, name="plan_from_table"),
    path("<slug:site>/plans/<int:pk>/", views.plan, name="plan"),
]
