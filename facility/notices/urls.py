"""Addresses."""

from __future__ import annotations

from typing import TYPE_CHECKING

from facility.notices.ways_urls import urlpatterns as of_ways

if TYPE_CHECKING:
    from django.urls import URLPattern

app_name = "notices"
urlpatterns: list[URLPattern] = [*of_ways]
