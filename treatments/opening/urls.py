"""Addresses: a run before it leaves surface: roles, patients, screening."""

from __future__ import annotations

from django.urls import URLPattern, path

from treatments.opening import patient_views, views

RUN = "<slug:site>/runs/<int:pk>/"
PLACE = f"{RUN}people/<int:place_pk>/"

urlpatterns: list[URLPattern] = [
    path(f"{RUN}people/", views.run_people, name="run_people"),
    path(f"{RUN}people/add/", views.add_place, name="add_place"),
    path(f"{PLACE}change/", views.change_place, name="change_place"),
    path(f"{PLACE}screen/", views.screen, name="screen"),
    path(f"{PLACE}patient/", patient_views.link_patient, name="link_patient"),
    path(f"{RUN}alone/", views.say_alone, name="say_alone"),
    path(f"{RUN}give-up/", views.give_up_run, name="give_up_run"),
    path(f"{RUN}reason/", views.give_reason, name="give_reason"),
    path(f"{RUN}clinical/", patient_views.clinical, name="clinical"),
    path(f"{RUN}clinical/<int:text_pk>/", patient_views.correct_text, name="correct_text"),
    path("<slug:site>/patients/", patient_views.patients, name="patients"),
    path("<slug:site>/patients/add/", patient_views.add_patient, name="add_patient"),
    path("<slug:site>/patients/<int:pk>/", patient_views.patient, name="patient"),
    path("<slug:site>/patients/<int:pk>/change/", patient_views.change_patient, name="change_patient"),
    path("<slug:site>/patients/<int:pk>/erase/", patient_views.erase_patient, name="erase_patient"),
]
