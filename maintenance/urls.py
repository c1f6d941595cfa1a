"""Addresses of defects."""

from __future__ import annotations

from django.urls import path

from maintenance import views

app_name = "maintenance"
urlpatterns = [
    path("<slug:site>/defects/", views.defects, name="defects"),
    path("<slug:site>/defects/raise/", views.raise_defect, name="raise_defect"),
    path("<slug:site>/defects/<int:pk>/", views.defect, name="defect"),
    path("<slug:site>/defects/<int:pk>/correct/", views.correct_defect, name="correct_defect"),
    path("<slug:site>/defects/<int:pk>/return/", views.return_to_service, name="return_to_service"),
    path("<slug:site>/defects/<int:pk>/tag/", views.tag, name="tag"),
]
