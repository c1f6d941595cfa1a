"""Addresses of plans, needs and the list of runs. The acts on runs stand above, with readiness."""

from __future__ import annotations

from django.urls import path

from treatments.after.urls import urlpatterns as after
from treatments.figures.urls import urlpatterns as figures
from treatments.log.urls import urlpatterns as log
from treatments.opening.urls import urlpatterns as opening
from treatments.plan_maker.urls import urlpatterns as plan_maker
from treatments.recording.urls import urlpatterns as recording
from treatments.reporting.urls import urlpatterns as reporting
from treatments.table_book.urls import urlpatterns as table_book
from treatments.views import needs, plans

urlpatterns = [
    path("<slug:site>/plans/", plans.plans, name="plans"),
    path("<slug:site>/plans/new/", plans.edit_plan, name="new_plan"),
    path("<slug:site>/plans/<int:pk>/change/", plans.edit_plan, name="change_plan"),
    path("<slug:site>/plans/<int:pk>/retire/", plans.retire_plan, name="retire_plan"),
    path("<slug:site>/needs/", needs.needs, name="needs"),
    path("<slug:site>/needs/add/", needs.add_need, name="add_need"),
    path("<slug:site>/needs/<int:pk>/", needs.need, name="need"),
    path("<slug:site>/needs/<int:pk>/change/", needs.change_need, name="change_need"),
    path("<slug:site>/needs/<int:pk>/retire/", needs.retire_need, name="retire_need"),
    path("<slug:site>/runs/", plans.runs, name="runs"),
    *plan_maker, *table_book, *opening, *log, *figures, *recording, *after, *reporting,
]  # fmt: skip
