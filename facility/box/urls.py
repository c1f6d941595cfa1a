"""Addresses."""

from __future__ import annotations

from django.urls import path

from facility.box import backup_views

app_name = "box"
urlpatterns = [
    path("box/backups/", backup_views.backups, name="backups"),
    path("box/backups/ask/", backup_views.ask, name="ask_backup"),
]
