"""Addresses: plan and budget, and the page of one item with its history and its trail."""

from __future__ import annotations

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
