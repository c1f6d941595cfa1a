"""Addresses: treatment tables of a site: confirmed by two people, its own in versions."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
