"""The keys of this box, the newest signed head of its log and its copies, and what contradicts it. First accounts only."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from facility import events
from facility.box.first import first_account
from facility.box.forms import AnewForm, BoxForm
from facility.http import actor_of
from facility.models import Event, KeyUse
from facility.trust import anew, answering, chain, checkpoints, copies, faults, keys, looking

if TYPE_CHECKING:
    from django.http import HttpResponse

    from facility.http import StaffRequest

UNPROCESSABLE: Final = 422
MOST_ANSWERS: Final = 20


@require_safe
def shown(request: StaffRequest) -> HttpResponse:
    """Show the keys, the newest head, its copies, and what stands against the log."""
    first_account(request)
    links = chain.links()
    head = checkpoints.newest()
    return render(request, "box/keys.html", {
        "links": [(link, chain.grouped(link.key.fingerprint), chain.grouped(link.old[: keys.ORIGIN_DIGITS])) for link in links],
        "broken": chain.is_broken(links), "head": head, "code": checkpoints.short_code(bytes(head.root)) if head else "",
        "copies": copies.newest_by_place(), "found": faults.standing(), "lost": _lost(), "at": events.now(),
        "answers": Event.objects.filter(action=looking.ANSWER).order_by("-seq")[:MOST_ANSWERS],
    })  # fmt: skip


def _lost() -> list[str]:
    """Return of which uses the private key is not here."""
    rows = [(use, keys.in_use(use)) for use in KeyUse.values]
    return [use for use, row in rows if row is not None and not keys.is_here(row)]


def new_key(request: StaffRequest, use: str) -> HttpResponse:
    """Ask for reason and password, then pass a key on; where it is lost, begin a new one and say that the chain is broken."""
    first_account(request)
    if use not in KeyUse.values:
        raise Http404
    lost = use in _lost()
    form = (AnewForm if lost else BoxForm)(request.POST or None, request=request)
    if form.is_valid():
        try:
            act = anew.begin if lost else keys.rotate
            made = act(use, by=actor_of(request), reason=form.cleaned_data["reason"])
        except (ValidationError, anew.KeyIsHereError, keys.KeyFaultError) as error:
            form.add_error(None, error.messages if isinstance(error, ValidationError) else str(error))
        else:
            checkpoints.ask("new key")
            return _made(request, chain.grouped(made.fingerprint))
    return _form(request, form, "box/new_key.html", {"use": KeyUse(use), "lost": lost})


def _made(request: StaffRequest, fingerprint: str) -> HttpResponse:
    looking.check_start(quick=True)
    if not _lost():
        looking.check_start()
    messages.success(
        request, _("The new key is %(fingerprint)s. Print the wall sheet anew.") % {"fingerprint": fingerprint}
    )
    return redirect("box:keys")


def _form(request: StaffRequest, form: BoxForm, template: str, more: dict[str, Any]) -> HttpResponse:
    return render(request, template, {"form": form, **more}, status=UNPROCESSABLE if form.is_bound else 200)


def answer(request: StaffRequest) -> HttpResponse:
    """Take the reason why the log contradicts signed heads; heads are signed again from then on."""
    first_account(request)
    form = BoxForm(request.POST or None, request=request)
    if form.is_valid():
        try:
            left = answering.answer(form.cleaned_data["reason"], by=actor_of(request))
        except (ValidationError, answering.NothingToAnswerError) as error:
            form.add_error(None, error.messages if isinstance(error, ValidationError) else str(error))
        else:
            _said(request, left)
            return redirect("box:keys")
    return _form(request, form, "box/answer.html", {"found": faults.standing()})


@require_POST
def look(request: StaffRequest) -> HttpResponse:
    """Hold the log against every head that can be reached, now."""
    first_account(request)
    _said(request, looking.check_start())
    return redirect("box:keys")


def _said(request: StaffRequest, left: list[str]) -> None:
    if left:
        messages.error(request, _("Something still stands: %(what)s") % {"what": left[0]})
    else:
        messages.success(request, _("No signed head that can be reached contradicts the log."))
