"""Addresses: deliveries, analyses, samples, banks. The gas of plans and runs is on a floor above."""

from __future__ import annotations

from django.urls import URLPattern, path

from maintenance.gas_room import delivery_views, gas_views, sample_views

urlpatterns: list[URLPattern] = [
    path("<slug:site>/gas/bank/<int:pk>/", gas_views.bank, name="bank"),
    path("<slug:site>/gas/deliveries/", delivery_views.deliveries, name="deliveries"),
    path("<slug:site>/gas/deliveries/add/", delivery_views.add_delivery, name="add_delivery"),
    path("<slug:site>/gas/deliveries/<int:pk>/", delivery_views.delivery, name="delivery"),
    path("<slug:site>/gas/deliveries/<int:pk>/cylinder/", delivery_views.add_delivered, name="add_delivered"),
    path("<slug:site>/gas/delivered/<int:pk>/", delivery_views.delivered, name="delivered"),
    path("<slug:site>/gas/delivered/<int:pk>/analyse/", delivery_views.analyse, name="analyse"),
    path("<slug:site>/gas/delivered/<int:pk>/accept/", delivery_views.accept, name="accept"),
    path("<slug:site>/gas/delivered/<int:pk>/refuse/", delivery_views.refuse_cylinder, name="refuse"),
    path("<slug:site>/gas/delivered/<int:pk>/hook-up/", gas_views.hook_up, name="hook_up"),
    path("<slug:site>/gas/samples/", sample_views.samples, name="samples"),
    path("<slug:site>/gas/samples/add/", sample_views.add_sample, name="add_sample"),
    path("<slug:site>/gas/samples/<int:pk>/", sample_views.sample, name="sample"),
]
