"""Addresses: a run before it leaves surface: roles, patients, screening."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
