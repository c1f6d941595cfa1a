"""The jobs of this box: what runs, what waits, what was given up, and what is due next. First accounts only."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from facility import events
from facility.box import jobs_shown
from facility.box.first import first_account
from facility.http import actor_of
from facility.jobs import again
from facility.models import Job

if TYPE_CHECKING:
    from django.http import HttpResponse

    from facility.http import StaffRequest


@require_safe
def jobs(request: StaffRequest) -> HttpResponse:
    """Show how the jobs stand."""
    first_account(request)
    at = events.now()
    return render(request, "box/jobs.html", {"shown": jobs_shown.shown(at), "at": at})


@require_POST
def run_again(request: StaffRequest, pk: int) -> HttpResponse:
    """Let a job that was given up be tried again from the start."""
    first_account(request)
    job = get_object_or_404(Job, pk=pk)
    if again.run_again(job.pk, by=actor_of(request)):
        messages.success(request, _("It is due again with all its tries; load this page again after a while."))
    else:
        messages.info(request, _("That job is not given up (any more): it waits, runs or is done."))
    return redirect("box:jobs")


@require_POST
def run_now(request: StaffRequest) -> HttpResponse:
    """Let a scheduled job be run now; one that waits or runs already is enough."""
    first_account(request)
    kinds = {entry.kind.value: entry.kind for entry in jobs_shown.plan()}
    kind = kinds.get(request.POST.get("kind", ""))
    if kind is None:
        messages.error(request, _("Choose one of the scheduled jobs: others need to be told what to work on."))
    elif again.run_now(kind, by=actor_of(request)):
        messages.success(request, _("It is done in the background; load this page again after a while."))
    else:
        messages.info(request, _("That waits or runs already; this page tells how it ends."))
    return redirect("box:jobs")
