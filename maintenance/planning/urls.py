"""Addresses of plan and budget, and of one item."""

from __future__ import annotations

from django.urls import path

from maintenance.planning import item_view, views

urlpatterns = [
    path("<slug:site>/plan-ahead/", views.plan_ahead, name="plan_ahead"),
    path("<slug:site>/items/<int:pk>/", item_view.item, name="item"),
]
