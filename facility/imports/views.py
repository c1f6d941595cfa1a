"""The upload pages: choose files, see what would happen, take it in."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_POST

from facility.access import Act, enter
from facility.http import actor_of
from facility.imports import waiting
from facility.imports.forms import TakeForm, UploadForm
from facility.imports.take import Options, take
from facility.imports.templates import guide as guide_of_files
from facility.imports.templates import templates_zip
from facility.models import User

if TYPE_CHECKING:
    from facility.events import Actor

SESSION_KEY = "import token"


def _authorised(request: HttpRequest, site: str | None) -> tuple[Options, Actor]:
    """Return what this person may take in, and in whose name; without a site only who may do everything."""
    if site is not None:
        visit = enter(request, site, Act.IMPORT)
        return Options(site=visit.site, acts=visit.acts), visit.actor
    if not isinstance(request.user, User) or not request.user.is_superuser:
        raise PermissionDenied
    return Options(), replace(actor_of(request), role="first user")


def upload(request: HttpRequest, site: str | None = None) -> HttpResponse:
    """Show the form; files sent to it are tried, and what would happen is shown. Nothing is stored."""
    options, actor = _authorised(request, site)
    form = UploadForm(request.POST or None, request.FILES or None)
    context: dict[str, Any] = {"form": form, "site": site, "place": "setup"}
    if not form.is_valid():
        return render(request, "imports/upload.html", context, status=422 if form.is_bound else 200)
    files = form.cleaned_data["chosen"]
    report = take(files, replace(options, dry_run=True), by=actor)
    if not report.unreadable:
        token = waiting.keep(files)
        request.session[SESSION_KEY] = token
        context["take_form"] = TakeForm(initial={"token": token})
    context["report"] = report
    return render(request, "imports/report.html", context, status=422 if report.exit_code else 200)


@require_POST
def take_upload(request: HttpRequest, site: str | None = None) -> HttpResponse:
    """Take in the files that were tried before."""
    options, actor = _authorised(request, site)
    form = TakeForm(request.POST)
    token = form.cleaned_data["token"] if form.is_valid() else ""
    files = waiting.fetch(token) if token and token == request.session.get(SESSION_KEY) else None
    if files is None:
        context = {"form": UploadForm(), "site": site, "place": "setup", "gone": True}
        return render(request, "imports/upload.html", context, status=410)
    report = take(files, replace(options, take_good_rows=form.cleaned_data["good_rows"]), by=actor)
    shown: dict[str, Any] = {"report": report, "site": site, "place": "setup"}
    if report.taken:
        waiting.drop(token)
        request.session.pop(SESSION_KEY, None)
    return render(request, "imports/report.html", shown, status=200 if report.taken else 422)


def guide(request: HttpRequest) -> HttpResponse:
    """Show each file with its columns, units and allowed words."""
    return render(request, "imports/guide.html", {"files": guide_of_files(), "place": "setup"})


def download_templates(_request: HttpRequest) -> HttpResponse:
    """Return the templates as one zip."""
    response = HttpResponse(templates_zip(), content_type="application/zip")
    response.headers["Content-Disposition"] = 'attachment; filename="templates.zip"'
    return response
