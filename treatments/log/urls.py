"""Addresses: the log of a run: entries, corrections, one writer, many watchers."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
