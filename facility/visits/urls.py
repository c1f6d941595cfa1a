"""Addresses of visits and of reading by link."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.urls import path

from facility.visits import link_views, reading_views, trail_views, views

if TYPE_CHECKING:
    from django.urls import URLPattern

app_name = "visits"
urlpatterns: list[URLPattern] = [
    path("look/<str:secret>/", reading_views.look, name="look"),
    path("look/<str:secret>/day/", reading_views.look_day, name="look_day"),
    path("look/<str:secret>/item/<int:pk>/", reading_views.look_item, name="look_item"),
    path("look/<str:secret>/certificate/<int:pk>/", reading_views.look_certificate, name="look_certificate"),
    path("look/<str:secret>/person/<int:pk>/", reading_views.look_person, name="look_person"),
    path("<slug:site>/visits/", views.visits, name="visits"),
    path("<slug:site>/visits/record/", views.record_visit, name="record_visit"),
    path("<slug:site>/visits/<int:pk>/", views.visit_page, name="visit"),
    path("<slug:site>/visits/finding/<int:pk>/", views.finding, name="finding"),
    path("<slug:site>/visits/finding/<int:pk>/close/", views.close_finding, name="close_finding"),
    path("<slug:site>/visits/links/", link_views.links, name="links"),
    path("<slug:site>/visits/links/<int:pk>/revoke/", link_views.revoke, name="revoke_link"),
    path("<slug:site>/visits/day/", trail_views.day, name="day"),
    path("<slug:site>/visits/kept/", trail_views.retention, name="retention"),
    path("<slug:site>/visits/since/", trail_views.since, name="since"),
    path("<slug:site>/visits/person/<int:pk>/", trail_views.person, name="person"),
]
