"""Addresses: profiles recorded by an instrument: taken in, cut, compared."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
