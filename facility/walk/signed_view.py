"""A check that is signed, given up, or looked at by somebody who may not answer it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import render

from facility.models import Event, Signature
from facility.walk.signing import answers_of, holds, result_now
from facility.walk.station import tell, walk_of

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from facility.access import Visit
    from facility.models import Check


def signed_page(request: HttpRequest, visit: Visit, check: Check) -> HttpResponse:
    """Show every step with its answers, the signatures and whether each still holds."""
    answers = answers_of(check)
    walk = walk_of(check, answers)
    told = tell(answers, {step.key: step for step in walk.steps})
    signatures = [
        (signature, holds(signature, check, answers))
        for signature in Signature.objects.filter(check_done=check).order_by("pk")
    ]
    entries = Event.objects.filter(subject_kind="facility.check", subject_id=check.pk).order_by("seq")
    stations = [(stop, [(step, told.get(step.key, [])) for step in stop.group.steps]) for stop in walk.stops]
    context = {
        "visit": visit, "place": "log", "check": check, "walk": walk, "stations": stations, "signatures": signatures,
        "void": bool(signatures) and not signatures[-1][1], "entries": entries, "result": result_now(walk.steps, answers),
        "newest_entry": entries.last(),
    }  # fmt: skip
    return render(request, "walk/signed.html", context)
