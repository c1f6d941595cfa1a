"""Addresses of the worksheets."""

from __future__ import annotations

from django.urls import path

from facility.worksheets import views

app_name = "worksheets"
urlpatterns = [
    path("", views.every, name="every"),
    path("<slug:name>/", views.worksheet, name="worksheet"),
]
