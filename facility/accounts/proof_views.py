"""One's own second proofs, and where one is signed in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import segno
from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from facility import events
from facility.accounts import devices, factors, passkeys
from facility.accounts.password_form import PROVEN, PasswordForm
from facility.counted import counted
from facility.http import actor_of, json_of
from facility.models import SecondFactor

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from facility.http import StaffRequest

SECRET = "new_generator"  # noqa: S105 - the name under which the session keeps it
UNPROCESSABLE = 422


class FirstCodeForm(PasswordForm):
    """The password, and the first code of a new generator: it proves that the generator runs right."""

    code = forms.CharField(label=gettext_lazy("The code it shows now"), max_length=10)


class PasskeyForm(PasswordForm):
    """The password, a name for the passkey and the browser's answer."""

    name = forms.CharField(label=gettext_lazy("Name of this device"), max_length=80)
    passkey = forms.CharField(widget=forms.HiddenInput, required=False)


@never_cache
def proofs(request: StaffRequest) -> HttpResponse:
    """Show one's second proofs and devices."""
    context = {
        "rows": factors.of(request.user), "paper_left": factors.paper_left(request.user),
        "passkeys_offered": passkeys.offered(request), "devices": devices.of(request.user, request.session.session_key),
    }  # fmt: skip
    return render(request, "accounts/proofs.html", context)


@never_cache
def add_generator(request: StaffRequest) -> HttpResponse:
    """Show a new secret as QR code and letters; the first right code stores it and shows codes for paper once."""
    secret = request.session.get(SECRET) or factors.new_secret()
    request.session[SECRET] = secret
    form = FirstCodeForm(request.POST or None, request=request)
    if form.is_valid():
        name, by = str(_("code generator")), actor_of(request)
        if factors.first_code(request.user, secret, form.cleaned_data["code"], name, by=by):
            del request.session[SECRET]
            return _paper_page(request)
        form.add_error("code", _("This is not the code of now. Is the clock of that device right?"))
    address = factors.generator_address(request.user, secret, "Deepstead")
    picture = segno.make(address, error="m").svg_data_uri(scale=4, dark="#000", light="#fff")
    context = {
        "form": form,
        "secret": " ".join(secret[at : at + 4] for at in range(0, len(secret), 4)),
        "picture": picture,
    }
    return render(request, "accounts/add_generator.html", context, status=UNPROCESSABLE if form.is_bound else 200)


def _paper_page(request: StaffRequest) -> HttpResponse:
    request.session[PROVEN] = events.now().isoformat()
    codes = factors.start_paper(request.user, by=actor_of(request))
    return render(request, "accounts/paper_codes.html", {"codes": codes})


@never_cache
def new_paper(request: StaffRequest) -> HttpResponse:
    """Make new codes for paper; the older ones count no longer."""
    form = PasswordForm(request.POST or None, request=request)
    if form.is_valid():
        return _paper_page(request)
    return _form(request, form, _("New codes for paper"))


def _form(request: HttpRequest, form: Any, title: str, **more: Any) -> HttpResponse:
    status = UNPROCESSABLE if form.is_bound else 200
    return render(request, "accounts/proof_form.html", {"form": form, "title": title, **more}, status=status)


@never_cache
def add_passkey(request: StaffRequest) -> HttpResponse:
    """Keep a passkey of this device."""
    if not passkeys.offered(request):
        messages.error(request, _("Passkeys need HTTPS and a name of the box that stays. Use a code generator."))
        return redirect("accounts:proofs")
    form = PasskeyForm(request.POST or None, request=request)
    if form.is_valid():
        try:
            answer = json_of(form.cleaned_data["passkey"] or "null")
            if not isinstance(answer, dict):
                raise ValidationError(_("The browser sent no passkey. Try again."))  # noqa: TRY301 - said in the form
            passkeys.finish_adding(request, request.user, answer, form.cleaned_data["name"], by=actor_of(request))
        except (ValidationError, ValueError) as error:
            said = error.messages if isinstance(error, ValidationError) else [str(error)]
            form.add_error(None, said)
        else:
            return redirect("accounts:proofs")
    options = passkeys.begin_adding(request, request.user)
    return _form(request, form, _("Keep a passkey"), options=options)


@never_cache
def take_off(request: StaffRequest, pk: int) -> HttpResponse:
    """Let one of one's own second proofs count no longer."""
    row = get_object_or_404(SecondFactor, pk=pk, user=request.user, retired_at=None)
    form = PasswordForm(request.POST or None, request=request)
    if form.is_valid():
        factors.take_off(row, by=actor_of(request), reason=str(_("taken off by the account itself")))
        return redirect("accounts:proofs")
    return _form(request, form, _("Take off %(name)s") % {"name": row})


@require_POST
def end_devices(request: StaffRequest) -> HttpResponse:
    """Sign out everywhere but here."""
    ended = devices.end_others(request.user, request.session.session_key, by=actor_of(request))
    messages.success(
        request, _("Signed out: %(devices)s.") % {"devices": counted(ended, "other device", "other devices")}
    )
    return redirect("accounts:proofs")
