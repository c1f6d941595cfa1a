"""Addresses of gas that see runs too; they stand under upkeep's name beside the other pages of gas."""

from __future__ import annotations

from django.urls import URLPattern, path

from facility.readiness import gas_page

urlpatterns: list[URLPattern] = [
    path("<slug:site>/gas/", gas_page.gas, name="gas"),
    path("<slug:site>/gas/cross-checks/", gas_page.cross_checks, name="cross_checks"),
]
