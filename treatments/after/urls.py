"""Addresses: after a run: exposures, what is owed, signatures, papers."""

from __future__ import annotations

from django.urls import URLPattern, path

from treatments.after import paper_views, views

urlpatterns: list[URLPattern] = [
    path("<slug:site>/runs/<int:pk>/after/", views.after_run, name="after_run"),
    path("<slug:site>/runs/<int:pk>/sign/", views.sign_run, name="sign_run"),
    path("<slug:site>/runs/<int:pk>/record.pdf", paper_views.treatment_record, name="treatment_record"),
    path("<slug:site>/crew/<int:pk>/exposures/", views.exposures, name="exposures"),
    path("<slug:site>/crew/<int:pk>/personal-log.pdf", paper_views.personal_log, name="personal_log"),
]
