"""Addresses for drawing pages from made-up values, without a database. For tests only."""

from __future__ import annotations

from django import forms
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template import engines
from django.urls import include, path

from facility.readiness.rows import sentence_of
from tests.facility.readiness_pages import sample

FORM_PAGE = """{% extends "base.html" %}{% load crispy_forms_tags %}{% block title %}Form{% endblock %}
{% block content %}<h1>A form</h1><form method="post" data-keep="trial" class="formcol">{% csrf_token %}{{ form|crispy }}
<div class="form-acts"><button class="act main">Record</button></div></form>{% endblock %}"""


class TrialForm(forms.Form):
    """One field of each common kind."""

    words = forms.CharField(label="What was seen", widget=forms.Textarea)
    reading = forms.DecimalField(label="Reading, bar")
    kind = forms.ChoiceField(label="Kind", choices=[("a", "leak"), ("b", "noise")])
    seen = forms.BooleanField(label="Seen by two", required=False)


@login_not_required
def now(request: HttpRequest) -> HttpResponse:
    return render(request, "readiness/now.html", sample.now_page())


@login_not_required
def ending(request: HttpRequest) -> HttpResponse:
    """Show a word that held until a moment ago: as a page that was left open."""
    page = sample.now_page()
    return render(request, "readiness/now.html", page | {"site_now": page["rows"][1].ends})


@login_not_required
def empty(request: HttpRequest) -> HttpResponse:
    run = {"run_on": {"number": 214, "elapsed_min": 83}}
    return render(request, "readiness/now.html", sample.frame() | run | {"sentence": sentence_of([]), "rows": []})


@login_not_required
def why(request: HttpRequest, number: int) -> HttpResponse:
    return render(request, "readiness/why.html", sample.why_page(number))


@login_not_required
def form(request: HttpRequest) -> HttpResponse:
    filled = TrialForm(request.POST or None)
    if filled.is_valid():
        return redirect("/now/")
    page = engines["django"].from_string(FORM_PAGE)
    answer = page.render(sample.frame() | {"form": filled}, request)
    return HttpResponse(answer, status=422 if filled.is_bound else 200)


@login_not_required
def broken(request: HttpRequest) -> HttpResponse:
    return render(request, "500.html", status=500)


_elsewhere = [path("<slug:site>/any/", now, name=name) for name in ("plant", "people", "records", "setup")]
urlpatterns = [
    path("now/", now),
    path("ending/", ending),
    path("empty/", empty),
    path("form/", form),
    path("broken/", broken),
    path("why/<int:number>/", why),
    path("places/", include((_elsewhere, "places"))),
    path("walk/", include(([path("<slug:site>/log/", now, name="log")], "walk"))),
    path("readiness/", include(([path("<slug:site>/now/", now, name="now"), path("", now, name="home")], "readiness"))),
    path("", include("facility.accounts.urls")),
]
