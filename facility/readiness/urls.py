"""Addresses of the answer."""

from __future__ import annotations

from django.urls import path

from facility.readiness import views
from facility.readiness.ahead.urls import urlpatterns as ahead
from facility.readiness.calling.urls import urlpatterns as calling
from facility.readiness.shift.urls import urlpatterns as shift
from facility.readiness.shut_downs.urls import urlpatterns as shut_downs
from facility.readiness.telling.urls import urlpatterns as telling

app_name = "readiness"
urlpatterns = [
    path("", views.home, name="home"),
    path("<slug:site>/now/", views.now_page, name="now"),
    path("<slug:site>/now/<slug:chamber>/", views.now_page, name="now_chamber"),
    path("<slug:site>/why/<slug:chamber>/<slug:plan>/", views.why, name="why"),
    path("<slug:site>/readiness.json", views.api, name="api"),
    *ahead,
    *calling,
    *shift,
    *shut_downs,
    *telling,
]
