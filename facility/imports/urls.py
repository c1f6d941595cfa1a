"""Addresses of the upload pages."""

from __future__ import annotations

from django.urls import path

from facility.imports import views

app_name = "imports"
urlpatterns = [
    path("import/", views.upload, name="upload"),
    path("import/take/", views.take_upload, name="take"),
    path("import/<int:number>/", views.taking, name="taking"),
    path("import/guide/", views.guide, name="guide"),
    path("import/templates.zip", views.download_templates, name="templates"),
    path("<slug:site>/import/", views.upload, name="upload"),
    path("<slug:site>/import/take/", views.take_upload, name="take"),
    path("<slug:site>/import/<int:number>/", views.taking, name="taking"),
]
