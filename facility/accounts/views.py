"""Signing in, the first account, one's own account."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from facility.access import ACTS, sites_of
from facility.accounts import factors, invites, services
from facility.accounts.demo import demo_sign_ins
from facility.accounts.forms import FirstUserForm, OwnPasswordForm, PasswordFields, SignInForm
from facility.accounts.second_views import wait_for
from facility.http import StaffRequest
from facility.models import LightMode, Membership, User

YEAR_SECONDS = 31_536_000
BACKEND = "django.contrib.auth.backends.ModelBackend"


@method_decorator(login_not_required, name="dispatch")
class SignInView(LoginView):
    """Sign in; on the demo its accounts are shown."""

    template_name = "registration/login.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the demo's accounts, on the demo only."""
        shown = demo_sign_ins() if settings.DEMO else ()
        return super().get_context_data(
            demo_accounts=shown, new_box=invites.awaits_first_user(), provider=bool(settings.OIDC_ISSUER), **kwargs
        )

    def form_valid(self, form: Any) -> HttpResponse:
        """Let in, or ask an account that has one for its second proof first."""
        user = form.get_user()
        if factors.asked_of(user):
            return wait_for(self.request, user, self.get_success_url())
        return super().form_valid(form)

    def form_invalid(self, form: Any) -> HttpResponse:
        """Answer a refused sign-in with 422 and the form."""
        response = super().form_invalid(form)
        response.status_code = 422
        return response


@login_not_required
def first_user(request: HttpRequest, token: str) -> HttpResponse:
    """Make the first account from the one-time link that ``up`` printed."""
    if not invites.is_first_user_token(token):
        raise Http404
    form = FirstUserForm(request.POST or None)
    if form.is_valid():
        first, _space, last = form.cleaned_data["full_name"].partition(" ")
        user = User(username=form.cleaned_data["username"], first_name=first, last_name=last)
        services.make_first_user(user, form.cleaned_data["password"])
        invites.use_up_first_user_token()
        login(request, user, backend=BACKEND)
        return redirect("readiness:home")
    return render(request, "accounts/first_user.html", {"form": form}, status=422 if form.is_bound else 200)


@login_not_required
def accept(request: HttpRequest, uid: str, token: str) -> HttpResponse:
    """Set a password from an invitation or a reset link, once. An account with a second proof is still asked for it."""
    user = invites.user_of_link(uid, token)
    if user is None:
        return render(request, "accounts/link_over.html", status=404)
    form = PasswordFields(request.POST or None, user=user)
    if form.is_valid():
        services.set_password(user, form.cleaned_data["password"])
        if factors.asked_of(user):
            return wait_for(request, user, reverse("readiness:home"))
        login(request, user, backend=BACKEND)
        return redirect("readiness:home")
    context = {"form": form, "account": user}
    return render(request, "accounts/accept.html", context, status=422 if form.is_bound else 200)


def own_account(request: StaffRequest) -> HttpResponse:
    """Show one's roles and change one's password."""
    form = OwnPasswordForm(request.POST or None, user=request.user, request=request)
    if form.is_valid():
        services.set_password(request.user, form.cleaned_data["password"])
        update_session_auth_hash(request, request.user)
        messages.success(request, _("Your password was changed. Your other devices are signed out."))
        return redirect("accounts:account")
    roles = [
        (row, [act.words for act in sorted(ACTS[row.role])])
        for row in Membership.objects.filter(user=request.user, retired_at=None).select_related("site")
    ]
    context = {"form": form, "roles": roles, "sites": sites_of(request.user)}
    return render(request, "accounts/account.html", context, status=422 if form.is_bound else 200)


@login_not_required
@require_POST
def set_light(request: HttpRequest) -> HttpResponse:
    """Keep how the pages are lit, for this person and this device."""
    light = request.POST.get("light", "")
    if light not in LightMode.values:
        raise Http404
    if isinstance(request.user, User):
        services.set_light(request.user, light)
    back = request.POST.get("next", "/")
    if not url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()}):
        back = "/"
    response = HttpResponseRedirect(back)
    response.set_cookie("light", light, max_age=YEAR_SECONDS, samesite="Lax", secure=settings.BEHIND_TLS)
    return response
