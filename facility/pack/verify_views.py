"""Verifying a pack without an account: a file in, three statements out."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from django.contrib.auth.decorators import login_not_required
from django.http import Http404
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt, csrf_protect

from facility.pack import uploads, wording
from facility.pack.forms import VerifyForm
from facility.pack.unpacking import MIB
from facility.trust import chain

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from facility.pack.checking import Outcome

UNPROCESSABLE, TOO_LARGE, TOO_MANY = 422, 413, 429
HEAD_BYTES = 64 * 1024
"""What a form adds to the file in it."""


@csrf_exempt
@login_not_required
def verify(request: HttpRequest) -> HttpResponse:
    """Take a pack and verify it. What is too long is refused by its stated length, before it is read."""
    if request.method == "POST" and (refused := _refused_unread(request)):
        return refused
    return _verify(request)


def _refused_unread(request: HttpRequest) -> HttpResponse | None:
    length = request.META.get("CONTENT_LENGTH", "")
    most = uploads.MOST_BYTES
    if not length.isdecimal() or int(length) > most + HEAD_BYTES:
        words = _("The file is longer than %(most)d MiB. Open verify.html of the pack in a browser instead.") % {
            "most": most // MIB
        }
        return _page(request, words, TOO_LARGE)
    try:
        uploads.refuse_many(request.META.get("REMOTE_ADDR", ""))
    except uploads.TooManyError as error:
        return _page(request, str(error), TOO_MANY)
    return None


def _page(request: HttpRequest, words: str, status: int) -> HttpResponse:
    context = {"form": VerifyForm(), "refused": words, "most": uploads.MOST_BYTES // MIB}
    return render(request, "pack/verify.html", context, status=status)


@csrf_protect
def _verify(request: HttpRequest) -> HttpResponse:
    form = VerifyForm(request.POST or None, request.FILES or None)
    if form.is_valid():
        given = form.cleaned_data
        token = uploads.take(given["pack"], request.META.get("REMOTE_ADDR", ""), given["fingerprint"])
        return redirect("pack:verified", token)
    context = {"form": form, "most": uploads.MOST_BYTES // MIB}
    return render(request, "pack/verify.html", context, status=UNPROCESSABLE if request.method == "POST" else 200)


@login_not_required
def verified(request: HttpRequest, token: str) -> HttpResponse:
    """Show what was found out about a file that was sent; it is kept for a day."""
    try:
        outcome = uploads.result_of(token)
    except LookupError:
        raise Http404 from None
    lines = wording.lines(outcome) if outcome else []
    context = {
        "outcome": outcome, "lines": lines, "not_proved": wording.not_proved(), "made_at": _made_at(outcome),
        "fingerprint": chain.grouped(outcome.fingerprint) if outcome else "",
    }  # fmt: skip
    return render(request, "pack/verified.html", context)


def _made_at(outcome: Outcome | None) -> datetime | None:
    """Return when a pack says that it was made, None where it says nothing that could be a time."""
    try:
        found = datetime.fromisoformat(outcome.about["made_at"]) if outcome else None
        return found.astimezone(UTC) if found and found.tzinfo else None
    except (KeyError, ValueError, OverflowError):
        return None
