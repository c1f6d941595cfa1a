"""Addresses of upkeep: defects here, the other parts in their own lists."""

from __future__ import annotations

from django.urls import path

from maintenance import views
from maintenance.calibrating.urls import urlpatterns as calibrating
from maintenance.gas_room.urls import urlpatterns as gas_room
from maintenance.planning.urls import urlpatterns as planning
from maintenance.upkeep.urls import urlpatterns as upkeep
from maintenance.working.urls import urlpatterns as working

app_name = "maintenance"
urlpatterns = [
    path("<slug:site>/defects/", views.defects, name="defects"),
    path("<slug:site>/defects/raise/", views.raise_defect, name="raise_defect"),
    path("<slug:site>/defects/<int:pk>/", views.defect, name="defect"),
    path("<slug:site>/defects/<int:pk>/correct/", views.correct_defect, name="correct_defect"),
    path("<slug:site>/defects/<int:pk>/tag/", views.tag, name="tag"),
    *upkeep, *working, *calibrating, *gas_room, *planning,
]  # fmt: skip
