"""Addresses for drawing pages from made-up values, without a database. For tests only."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles.urls import staticfiles_urlpatterns
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import include, path

from facility.readiness.rows import sentence_of
from tests.facility.readiness_pages import sample


@login_not_required
def now(request: HttpRequest) -> HttpResponse:
    return render(request, "readiness/now.html", sample.now_page())


@login_not_required
def empty(request: HttpRequest) -> HttpResponse:
    return render(
        request,
        "readiness/now.html",
        sample.frame() | {"sentence": sentence_of([]), "rows": [], "run_on": {"number": 214, "elapsed_min": 83}},
    )


@login_not_required
def why(request: HttpRequest, number: int) -> HttpResponse:
    return render(request, "readiness/why.html", sample.why_page(number))


_elsewhere = [path("<slug:site>/any/", now, name=name) for name in ("plant", "people", "records", "setup")]
urlpatterns = [
    path("now/", now),
    path("empty/", empty),
    path("why/<int:number>/", why),
    path("places/", include((_elsewhere, "places"))),
    path("walk/", include(([path("<slug:site>/log/", now, name="log")], "walk"))),
    path("readiness/", include(([path("<slug:site>/now/", now, name="now"), path("", now, name="home")], "readiness"))),
    path("", include("facility.accounts.urls")),
    *(staticfiles_urlpatterns() if settings.DEBUG else []),
]
