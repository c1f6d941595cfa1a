"""Addresses."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.urls import path

from facility.notices import flag_views, views
from facility.notices.ways_urls import urlpatterns as of_ways

if TYPE_CHECKING:
    from django.urls import URLPattern

app_name = "notices"
urlpatterns: list[URLPattern] = [
    path("<slug:site>/notices/", views.told, name="told"),
    path("<slug:site>/notices/<int:pk>/answer/", views.answer, name="answer"),
    path("<slug:site>/notices/mine/", views.settings_page, name="mine"),
    path("<slug:site>/notices/mutes/<int:pk>/lift/", views.lift, name="lift"),
    path("<slug:site>/notices/acted-on/", views.judged, name="judged"),
    path("<slug:site>/flags/", flag_views.flags, name="flags"),
    path("<slug:site>/flags/snooze/", flag_views.snooze, name="snooze"),
    path("<slug:site>/flags/snooze/<int:pk>/end/", flag_views.wake, name="wake"),
    *of_ways,
]
