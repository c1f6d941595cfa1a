"""Addresses of the generic pages of records."""

from __future__ import annotations

from django.urls import path

from facility.records import acts, first_site, views

app_name = "records"
urlpatterns = [
    path("first-site/", first_site.first_site, name="first_site"),
    path("<slug:site>/keep/qualification/<int:pk>/second-look/", acts.second_look, name="second_look"),
    path("<slug:site>/keep/contact/<int:pk>/confirmed/", acts.confirmed, name="confirmed"),
    path("<slug:site>/keep/<slug:kind>/", views.records, name="list"),
    path("<slug:site>/keep/<slug:kind>/add/", views.add, name="add"),
    path("<slug:site>/keep/<slug:kind>/<int:pk>/", views.detail, name="detail"),
    path("<slug:site>/keep/<slug:kind>/<int:pk>/correct/", views.correct, name="correct"),
    path("<slug:site>/keep/<slug:kind>/<int:pk>/retire/", views.retire, name="retire"),
    path("<slug:site>/keep/<slug:kind>/<int:pk>/bring-back/", views.bring_back, name="bring_back"),
]
