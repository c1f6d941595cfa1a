"""The second proof at the door: asked after the password of an account that has one."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from axes.handlers.proxy import AxesProxyHandler
from axes.helpers import get_lockout_response
from django import forms
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.signals import user_login_failed
from django.core.exceptions import ValidationError
from django.http import HttpResponseRedirect
from django.shortcuts import redirect, render
from django.utils.crypto import constant_time_compare
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache

from facility import events
from facility.accounts import factors, passkeys
from facility.accounts.password_form import PROVEN
from facility.http import json_of
from facility.models import User

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

WAITS = "waits_for_second_proof"
PATIENCE = timedelta(minutes=5)
BACKEND = "django.contrib.auth.backends.ModelBackend"
UNPROCESSABLE = 422


class CodeForm(forms.Form):
    """A code of the generator or one from paper."""

    code = forms.CharField(
        label=gettext_lazy("Code"), max_length=20,
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "numeric", "autofocus": True}),
        help_text=gettext_lazy("The six figures of your code generator, or one of your codes on paper."),
    )  # fmt: skip


def wait_for(request: HttpRequest, user: User, after: str) -> HttpResponse:
    """Remember who gave the right password, and ask for the second proof."""
    request.session[WAITS] = {
        "user": user.pk, "at": events.now().isoformat(), "after": after, "hash": user.get_session_auth_hash()
    }  # fmt: skip
    return redirect("accounts:second")


def waiting(request: HttpRequest) -> User | None:
    """Return whose second proof is awaited: within 5 minutes of the password, which must not have changed since."""
    kept = request.session.get(WAITS)
    if kept is None or events.now() - datetime.fromisoformat(kept["at"]) > PATIENCE:
        request.session.pop(WAITS, None)
        return None
    user = User.objects.filter(pk=kept["user"], is_active=True).first()
    if user is None or not constant_time_compare(kept["hash"], user.get_session_auth_hash()):
        return None
    return user


@login_not_required
@never_cache
def second(request: HttpRequest) -> HttpResponse:
    """Ask for a code or a passkey, and let in."""
    user = waiting(request)
    if user is None:
        return redirect("accounts:login")
    asked = {"username": user.username}
    if not AxesProxyHandler.is_allowed(request, asked):
        locked: HttpResponse = get_lockout_response(request, credentials=asked)
        return locked
    if request.method == "POST" and "passkey" in request.POST:
        if _passkey_shown(request, user):
            return _let_in(request, user)
        form = CodeForm()
        form.errors["__all__"] = form.error_class([_("The passkey was not taken. Try again, or type a code.")])
        return _refused(request, user, form)
    form = CodeForm(request.POST or None)
    if form.is_valid():
        try:
            if factors.shown(user, form.cleaned_data["code"]):
                return _let_in(request, user)
            form.add_error("code", _("This code is not right, was used already, or is too old. Type the next one."))
        except ValidationError as error:
            form.add_error("code", error)
        return _refused(request, user, form)
    return _page(request, user, form, UNPROCESSABLE if form.is_bound else 200)


def _passkey_shown(request: HttpRequest, user: User) -> bool:
    try:
        answer = json_of(request.POST["passkey"])
    except ValueError:
        return False
    return isinstance(answer, dict) and passkeys.shown(request, user, answer)


def _refused(request: HttpRequest, user: User, form: CodeForm) -> HttpResponse:
    """Count it like a wrong password: too many lock this name at this address for a while."""
    user_login_failed.send(sender=__name__, credentials={"username": user.username}, request=request)
    return _page(request, user, form, UNPROCESSABLE)


def _page(request: HttpRequest, user: User, form: CodeForm, status: int) -> HttpResponse:
    options = passkeys.begin_asking(request, user) if passkeys.offered(request) else {}
    context = {"form": form, "account": user, "options": options}
    return render(request, "accounts/second.html", context, status=status)


def _let_in(request: HttpRequest, user: User) -> HttpResponse:
    after = request.session.pop(WAITS)["after"]
    login(request, user, backend=BACKEND)
    request.session[PROVEN] = events.now().isoformat()
    if not url_has_allowed_host_and_scheme(after, allowed_hosts={request.get_host()}):
        after = "/"
    return HttpResponseRedirect(after)
