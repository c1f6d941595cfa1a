"""Addresses of what the record tells others."""

from __future__ import annotations

from django.urls import path

from facility.readiness.telling import answers

urlpatterns = [
    path("<slug:site>/forecast.json", answers.forecast_json, name="forecast_json"),
    path("<slug:site>/what-if.json", answers.what_if_json, name="what_if_json"),
]
