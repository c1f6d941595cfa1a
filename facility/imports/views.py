"""The upload pages: choose files, see what would happen, take it in by a job and see how far it is."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from facility.access import FIRST_USER, Act, enter
from facility.http import actor_of
from facility.imports import taking as jobs
from facility.imports import waiting
from facility.imports.forms import TakeForm, UploadForm
from facility.imports.take import Options, take
from facility.imports.taking import Asked, Way
from facility.imports.templates import guide as guide_of_files
from facility.imports.templates import templates_zip
from facility.jobs.queue import Kind
from facility.models import Job, User

if TYPE_CHECKING:
    from facility.events import Actor
    from facility.imports.report import Report

SESSION_KEY = "import token"
LOOK_AGAIN_SECONDS = 3
GONE, UNPROCESSABLE = 410, 422


def _authorised(request: HttpRequest, site: str | None) -> tuple[Options, Actor]:
    """Return what this person may take in, and in whose name; without a site only who may do everything."""
    if site is not None:
        visit = enter(request, site, Act.IMPORT)
        return Options(site=visit.site, acts=visit.acts), visit.actor
    if not isinstance(request.user, User) or not request.user.is_superuser:
        raise PermissionDenied
    return Options(), replace(actor_of(request), role=FIRST_USER)


def upload(request: HttpRequest, site: str | None = None) -> HttpResponse:
    """Show the form; files sent to it are tried, large ones by a job, and what would happen is shown. Nothing is stored."""
    options, actor = _authorised(request, site)
    form = UploadForm(request.POST or None, request.FILES or None)
    if not form.is_valid():
        context = _page(request, options, site) | {"form": form}
        return render(request, "imports/upload.html", context, status=UNPROCESSABLE if form.is_bound else 200)
    files = form.cleaned_data["chosen"]
    if sum(len(content) for content in files.values()) > jobs.AT_ONCE_BYTES:
        return _by_job(site, _asked(options, actor, (_kept(request, files), Way.TRY)))
    report = take(files, replace(options, dry_run=True), by=actor)
    token = "" if report.unreadable else _kept(request, files)
    return _report(request, site, report, token, status=UNPROCESSABLE if report.exit_code else 200)


def _page(request: HttpRequest, options: Options, site: str | None) -> dict[str, Any]:
    """Return what the page of the form shows beside it: the newest import that this person asked for."""
    newest = jobs.newest_of(request.user, options.site) if isinstance(request.user, User) else None
    return {"site": site, "place": "setup", "newest": newest}


def _kept(request: HttpRequest, files: dict[str, bytes]) -> str:
    token = waiting.keep(files)
    request.session[SESSION_KEY] = token
    return token


def _asked(options: Options, actor: Actor, what: tuple[str, Way]) -> Asked:
    token, way = what
    return Asked(token, way, actor.user_id or 0, options.site.pk if options.site else None, actor.session)


def _by_job(site: str | None, asked: Asked) -> HttpResponse:
    number = jobs.ask(asked).pk
    return redirect("imports:taking", site, number) if site else redirect("imports:taking", number)


def _report(request: HttpRequest, site: str | None, report: Report, token: str, status: int = 200) -> HttpResponse:
    """Show a report; with the token of files that are still here also the button that takes them in."""
    context: dict[str, Any] = {"report": report, "site": site, "place": "setup"}
    if token and not (report.taken or report.stopped):
        context["take_form"] = TakeForm(initial={"token": token})
    return render(request, "imports/report.html", context, status=status)


@require_POST
def take_upload(request: HttpRequest, site: str | None = None) -> HttpResponse:
    """Ask for the job that takes in the files that were tried before."""
    options, actor = _authorised(request, site)
    form = TakeForm(request.POST)
    token = form.cleaned_data["token"] if form.is_valid() else ""
    way = Way.GOOD if form.is_valid() and form.cleaned_data["good_rows"] else Way.ALL
    asked = _asked(options, actor, (token, way))
    own = token == request.session.get(SESSION_KEY) or jobs.was_asked(asked)
    if not token or not own or not (waiting.are_there(token) or jobs.was_asked(asked, asked.way)):
        context = _page(request, options, site) | {"form": UploadForm(), "gone": True}
        return render(request, "imports/upload.html", context, status=GONE)
    return _by_job(site, asked)


def taking(request: HttpRequest, number: int, site: str | None = None) -> HttpResponse:
    """Show how far an import is, or its report; only to the person who asked for it."""
    options, actor = _authorised(request, site)
    job = Job.objects.filter(pk=number, kind=Kind.IMPORT).first()
    asked = jobs.asked_by(job) if job is not None else None
    if (
        job is None
        or asked is None
        or _asked(options, actor, (asked.token, asked.way)) != replace(asked, session=actor.session)
    ):
        raise Http404
    report = jobs.report_of(asked) if job.finished_at is not None else None
    if report is not None:
        token = asked.token if waiting.are_there(asked.token) else ""
        return _report(request, site, report, token)
    context: dict[str, Any] = {"job": job, "site": site, "place": "setup", "only_tried": asked.way is Way.TRY}
    context["progress"] = waiting.progress_of(asked.token, asked.way) or job.progress
    response = render(request, "imports/taking.html", context)
    if job.finished_at is None and job.dead_at is None:
        response.headers["Refresh"] = str(LOOK_AGAIN_SECONDS)
    return response


def guide(request: HttpRequest) -> HttpResponse:
    """Show each file with its columns, units and allowed words."""
    return render(request, "imports/guide.html", {"files": guide_of_files(), "place": "setup"})


def download_templates(_request: HttpRequest) -> HttpResponse:
    """Return the templates as one zip."""
    response = HttpResponse(templates_zip(), content_type="application/zip")
    response.headers["Content-Disposition"] = 'attachment; filename="templates.zip"'
    return response
