"""Addresses: after a run: exposures, what is owed, signatures, papers."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
