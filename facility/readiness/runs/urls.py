"""Addresses of the acts on a run; they share the namespace of the treatments."""

from __future__ import annotations

from django.urls import path

from facility.readiness.runs import views
from facility.readiness.runs.log_urls import urlpatterns as of_the_log

urlpatterns = [
    path("<slug:site>/runs/start/", views.start_run, name="start_run"),
    path("<slug:site>/runs/<int:pk>/", views.run, name="run"),
    path("<slug:site>/runs/<int:pk>/left-surface/", views.leave_surface, name="leave_surface"),
    path("<slug:site>/runs/<int:pk>/end/", views.end_run, name="end_run"),
    *of_the_log,
]
