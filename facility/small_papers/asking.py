"""One address for a paper: without an answer it asks what is wanted, with one it sends the PDF. It changes nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.shortcuts import render

from facility.small_papers.making import answer, print_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpResponse

    from facility.access import Visit
    from facility.http import StaffRequest
    from facility.small_papers.forms import PrintForm
    from facility.small_papers.making import Paper, Print

UNPROCESSABLE = 422
ASK = "small_papers/ask.html"


@dataclass(frozen=True, slots=True)
class Ask:
    """What stands above the form of a paper, and on its button where it makes more than a PDF."""

    title: str
    about: str
    template: str = ASK
    button: str = ""


def given(request: StaffRequest) -> Any:
    """Return what was asked for, or None before anything was; for a form bound to it."""
    return request.GET if "size" in request.GET else None


def form_or_paper(
    request: StaffRequest, visit: Visit, form: PrintForm, ask: Ask, make: Callable[[Print, dict[str, Any]], Paper]
) -> HttpResponse:
    """Send the paper that the form asks for, else the form; one that is refused comes back with 422."""
    if form.is_bound and form.is_valid():
        printed = print_of(visit, form.cleaned_data["size"], seal=form.cleaned_data["seal"])
        return answer(make(printed, form.cleaned_data), printed)
    context = {"visit": visit, "place": "records", "form": form, "ask": ask}
    return render(request, ask.template, context, status=UNPROCESSABLE if form.is_bound else 200)
