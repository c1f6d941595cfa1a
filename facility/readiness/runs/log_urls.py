"""Addresses of the log of a run that rest on readiness; they share the namespace of the treatments."""

from __future__ import annotations

from django.urls import path

from facility.readiness.runs import log_paper_views, log_views

urlpatterns = [
    path("<slug:site>/runs/<int:pk>/log/", log_views.log, name="log"),
    path("<slug:site>/runs/<int:pk>/log/enter/", log_views.log_entry, name="log_entry"),
    path("<slug:site>/runs/<int:pk>/log/since/", log_views.log_since, name="log_since"),
    path("<slug:site>/runs/<int:pk>/log/take-over/", log_views.take_over, name="take_over"),
    path("<slug:site>/runs/<int:pk>/log/key-in/", log_paper_views.key_paper, name="key_paper"),
]
