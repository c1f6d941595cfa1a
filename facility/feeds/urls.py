"""Addresses."""

from __future__ import annotations

from django.urls import path

from facility.feeds import views

app_name = "feeds"
urlpatterns = [
    path("calendar/<str:secret>.ics", views.calendar, name="calendar"),
    path("<slug:site>/calendars/", views.calendars, name="calendars"),
    path("<slug:site>/calendars/<int:pk>/revoke/", views.revoke, name="revoke"),
]
