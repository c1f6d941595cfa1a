"""Addresses of hand-overs."""

from __future__ import annotations

from django.urls import path

from facility.readiness.shift import views

urlpatterns = [
    path("<slug:site>/hand-over/", views.hand_overs, name="hand_overs"),
    path("<slug:site>/hand-over/give/", views.give, name="give_hand_over"),
    path("<slug:site>/hand-over/<int:pk>/", views.hand_over, name="hand_over"),
]
