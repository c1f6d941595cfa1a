"""Addresses: deliveries, analyses, samples, counters of compressors, trends and orders of gas."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
