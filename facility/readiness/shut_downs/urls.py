"""Addresses of planned shut-downs."""

from __future__ import annotations

from django.urls import path

from facility.readiness.shut_downs import views

urlpatterns = [
    path("<slug:site>/shut-downs/", views.shut_downs, name="shut_downs"),
    path("<slug:site>/shut-downs/<int:pk>/back/", views.take_back, name="take_back_shut_down"),
]
