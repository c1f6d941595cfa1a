"""Addresses of checks, sheets and stored files."""

from __future__ import annotations

from django.urls import path

from facility.walk import (
    answer_views,
    check_views,
    evidence_view,
    log_view,
    paper_views,
    sheet_views,
    sign_views,
)

app_name = "walk"
urlpatterns = [
    path("<slug:site>/log/", log_view.log, name="log"),
    path("<slug:site>/checks/", log_view.every, name="every"),
    path("<slug:site>/checks/start/<int:sheet_pk>/", check_views.start, name="start"),
    path("<slug:site>/checks/blank/<int:sheet_pk>/<int:number>/", paper_views.blank, name="blank"),
    path("<slug:site>/checks/paper/<int:sheet_pk>/<int:number>/", paper_views.paper, name="paper"),
    path("<slug:site>/checks/<int:pk>/", check_views.check, name="check"),
    path("<slug:site>/checks/<int:pk>/<int:place>/", check_views.station, name="station"),
    path("<slug:site>/checks/<int:pk>/answer/", answer_views.answer, name="answer"),
    path("<slug:site>/checks/<int:pk>/correct/<int:answer_pk>/", check_views.correct, name="correct"),
    path("<slug:site>/checks/<int:pk>/leave/", check_views.leave, name="leave"),
    path("<slug:site>/checks/<int:pk>/give-up/", check_views.give_up, name="give_up"),
    path("<slug:site>/checks/<int:pk>/sign/", sign_views.sign, name="sign"),
    path("<slug:site>/sheets/", sheet_views.sheets, name="sheets"),
    path("<slug:site>/sheets/<int:pk>/", sheet_views.sheet, name="sheet"),
    path("<slug:site>/sheets/<int:pk>/edit/", sheet_views.edit, name="edit"),
    path("<slug:site>/evidence/<int:pk>/", evidence_view.evidence, name="evidence"),
]
