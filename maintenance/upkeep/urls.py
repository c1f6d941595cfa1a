"""Addresses: what falls due: rules adopted from codes, counters, events, deferrals, and the list of it all."""

from __future__ import annotations

from django.urls import URLPattern, path

from maintenance.upkeep import counter_views, rule_views, views

urlpatterns: list[URLPattern] = [
    path("<slug:site>/due/", views.due, name="due"),
    path("<slug:site>/rules/<int:pk>/", views.rule, name="rule"),
    path("<slug:site>/rules/<int:pk>/put-off/", views.put_off, name="defer"),
    path("<slug:site>/happened/", views.add_happening, name="add_happening"),
    path("<slug:site>/counters/", counter_views.counters, name="counters"),
    path("<slug:site>/counters/<int:pk>/", counter_views.counter, name="counter"),
    path("<slug:site>/counters/<int:pk>/read/", counter_views.read_counter, name="read_counter"),
    path("<slug:site>/counters/<int:pk>/replaced/", counter_views.replace_meter, name="replace_meter"),
    path("<slug:site>/codes/", rule_views.every, name="requirements"),
    path("<slug:site>/codes/<slug:key>/", rule_views.take_on, name="adopt"),
]
