"""Addresses: what a run computes from its log, and its picture."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
