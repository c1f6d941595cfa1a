"""Addresses of the ways; facility.notices.urls takes them in."""

from __future__ import annotations

from django.urls import path

from facility.notices import way_views

urlpatterns = [
    path("<slug:site>/notices/ways/", way_views.ways_page, name="ways"),
    path("<slug:site>/notices/ways/log/", way_views.way_log, name="way_log"),
    path("<slug:site>/notices/ways/<int:pk>/retire/", way_views.retire_way, name="retire_way"),
    path("<slug:site>/notices/ways/<int:pk>/try/", way_views.try_way, name="try_way"),
]
