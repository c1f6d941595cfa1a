"""Addresses: what falls due: rules adopted from codes, counters, events, deferrals, and the list of it all."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
