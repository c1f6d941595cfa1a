"""Addresses for a monitor."""

from __future__ import annotations

from django.urls import path

from facility.health import views

app_name = "health"
urlpatterns = [
    path("healthz", views.alive, name="alive"),
    path("readyz", views.ready, name="ready"),
    path("metrics", views.metrics, name="metrics"),
]
