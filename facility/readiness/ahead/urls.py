"""Addresses of what is to come."""

from __future__ import annotations

from django.urls import path

from facility.readiness.ahead import coverage_views, views

urlpatterns = [
    path("<slug:site>/ahead/", views.ahead, name="ahead"),
    path("<slug:site>/ahead/<slug:chamber>/", views.ahead, name="ahead_chamber"),
    path("<slug:site>/what-if/", views.what_if, name="what_if"),
    path("<slug:site>/what-if/<slug:chamber>/", views.what_if, name="what_if_chamber"),
    path("<slug:site>/crew-hours/", coverage_views.crew_hours, name="crew_hours"),
    path("<slug:site>/crew-hours/<slug:chamber>/", coverage_views.crew_hours, name="crew_hours_chamber"),
]
