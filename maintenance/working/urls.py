"""Addresses: what was done: records of work of every sort, second looks, repairs, return tests, labels."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
