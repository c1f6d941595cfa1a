"""Addresses of waivers and call-outs."""

from __future__ import annotations

from django.urls import path

from facility.readiness.calling import call_views, waiver_views

urlpatterns = [
    path("<slug:site>/waivers/", waiver_views.register, name="waivers"),
    path("<slug:site>/waivers/grant/", waiver_views.grant, name="grant_waiver"),
    path("<slug:site>/waivers/record/", waiver_views.record, name="record_waiver"),
    path("<slug:site>/waivers/<int:pk>/", waiver_views.waiver, name="waiver"),
    path("<slug:site>/waivers/<int:pk>/countersign/", waiver_views.countersign, name="countersign_waiver"),
    path("<slug:site>/call/begin/", call_views.begin, name="begin_call"),
    path("<slug:site>/call/<int:pk>/", call_views.call, name="call"),
    path("<slug:site>/call/<int:pk>/answer/", call_views.answer_call, name="answer_call"),
]
