"""Addresses: what was done: records of work of every sort, second looks, repairs, return tests, labels."""

from __future__ import annotations

from django.urls import URLPattern, path

from maintenance.working import labels, repair_views, second_look, views

urlpatterns: list[URLPattern] = [
    path("<slug:site>/work/", views.work_list, name="work_list"),
    path("<slug:site>/work/record/", views.record_work, name="record_work"),
    path("<slug:site>/work/<int:pk>/", views.work, name="work"),
    path("<slug:site>/work/<int:pk>/correct/", views.correct_work, name="correct_work"),
    path("<slug:site>/work/<int:pk>/second-look/", second_look.second_look_work, name="second_look_work"),
    path("<slug:site>/defects/<int:pk>/repair/", repair_views.repair, name="repair"),
    path("<slug:site>/defects/<int:pk>/return/", repair_views.return_to_service, name="return_to_service"),
    path("<slug:site>/labels/", labels.labels, name="labels"),
]
