"""Addresses: treatment tables of a site: confirmed by two people, its own in versions."""

from __future__ import annotations

from django.urls import URLPattern, path

from treatments.table_book import edit_views, views

urlpatterns: list[URLPattern] = [
    path("<slug:site>/tables/", views.tables, name="tables"),
    path("<slug:site>/tables/new/", edit_views.edit_table, name="new_table"),
    path("<slug:site>/tables/own/<int:pk>/approve/", edit_views.approve_table, name="approve_table"),
    path("<slug:site>/tables/own/<int:pk>/withdraw/", edit_views.withdraw_table, name="withdraw_table"),
    path("<slug:site>/tables/compared/<int:pk>/take-back/", views.take_back, name="take_back_comparison"),
    path("<slug:site>/tables/<str:table>/", views.table, name="table"),
    path("<slug:site>/tables/<str:table>/confirm/", views.confirm_table, name="confirm_table"),
    path("<slug:site>/tables/<str:table>/change/", edit_views.edit_table, name="edit_table"),
]
