"""Every address of the app."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from facility.readiness.gas_urls import urlpatterns as gas_of_runs
from facility.readiness.runs.urls import urlpatterns as acts_on_runs
from maintenance.urls import urlpatterns as of_maintenance
from treatments.urls import urlpatterns as of_treatments

handler400 = "facility.project.outage.not_understood"
handler500 = "facility.project.outage.failed"
urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("facility.health.urls")),
    path("", include("facility.accounts.urls")),
    path("", include("facility.box.urls")),
    path("", include("facility.feeds.urls")),
    path("", include("facility.fleet.urls")),
    path("", include("facility.visits.urls")),
    path("", include("facility.pack.urls")),
    path("", include("facility.small_papers.urls")),
    path("", include("facility.notices.urls")),
    path("worksheets/", include("facility.worksheets.urls")),
    path("", include("facility.imports.urls")),
    path("", include("facility.walk.urls")),
    path("", include("facility.readiness.urls")),
    path("", include("facility.practice.urls")),
    path("", include("facility.records.urls")),
    path("", include("facility.records.place_urls")),
    path("", include(([*of_maintenance, *gas_of_runs], "maintenance"))),
    path("", include(([*of_treatments, *acts_on_runs], "treatments"))),
]
