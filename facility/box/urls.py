"""Addresses."""

from __future__ import annotations

from django.urls import path

from facility.box import backup_views, clock_views, job_views, key_views

app_name = "box"
urlpatterns = [
    path("box/backups/", backup_views.backups, name="backups"),
    path("box/backups/ask/", backup_views.ask, name="ask_backup"),
    path("box/keys/", key_views.shown, name="keys"),
    path("box/keys/look/", key_views.look, name="look_at_log"),
    path("box/keys/answer/", key_views.answer, name="answer_fault"),
    path("box/keys/new/<slug:use>/", key_views.new_key, name="new_key"),
    path("<slug:site>/clock/", clock_views.right_again, name="clock"),
    path("box/jobs/", job_views.jobs, name="jobs"),
    path("box/jobs/run/", job_views.run_now, name="run_now"),
    path("box/jobs/<int:pk>/again/", job_views.run_again, name="run_again"),
]
