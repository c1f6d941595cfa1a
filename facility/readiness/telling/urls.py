"""Addresses of what the record tells others."""

from __future__ import annotations

from django.urls import path

from facility.readiness.telling import answers, fit_on_views, me_views, outside_views

urlpatterns = [
    path("<slug:site>/forecast.json", answers.forecast_json, name="forecast_json"),
    path("<slug:site>/what-if.json", answers.what_if_json, name="what_if_json"),
    path("<slug:site>/availability.pdf", outside_views.statement, name="statement"),
    path("<slug:site>/status/", outside_views.status, name="status"),
    path("<slug:site>/status.json", outside_views.status_json, name="status_json"),
    path("<slug:site>/me/", me_views.me, name="me"),
    path("<slug:site>/me/declare/", me_views.declare_fit, name="declare_fit"),
    path("<slug:site>/fit-on/", fit_on_views.fit_on, name="fit_on"),
]
