"""Addresses of drills and procedures."""

from __future__ import annotations

from django.urls import path

from facility.practice import views

app_name = "practice"
urlpatterns = [
    path("<slug:site>/drills/", views.drills, name="drills"),
    path("<slug:site>/drills/hold/", views.hold_drill, name="hold_drill"),
    path("<slug:site>/drills/kind/", views.add_drill_kind, name="add_drill_kind"),
    path("<slug:site>/procedures/", views.procedures, name="procedures"),
    path("<slug:site>/procedures/write/", views.write_procedure, name="write_procedure"),
    path("<slug:site>/procedures/<int:pk>/", views.procedure, name="procedure"),
    path("<slug:site>/procedures/<int:pk>/read/", views.read_procedure, name="read_procedure"),
    path("<slug:site>/procedures/<int:pk>/next/", views.write_procedure, name="next_procedure"),
]
