"""The accounts of a site: invite, roles, new password, deactivate, unlock."""

from __future__ import annotations

from axes.models import AccessAttempt
from axes.utils import reset
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from facility.access import ACTS, Act, Visit, enter
from facility.accounts import factors, invites, services
from facility.accounts.forms import InviteForm, ReasonForm, RolesForm
from facility.accounts.reach import refuse_beyond
from facility.accounts.services import NewAccount
from facility.http import StaffRequest
from facility.models import Membership, SecondFactor, SiteRole, User


def _accounts_of(visit: Visit) -> list[User]:
    """Return the accounts with a role at the site, or that once had one, by name."""
    return list(User.objects.filter(memberships__site=visit.site).distinct().order_by("first_name", "username"))


def _account(visit: Visit, pk: int) -> User:
    return get_object_or_404(User.objects.filter(memberships__site=visit.site).distinct(), pk=pk)


def accounts(request: HttpRequest, site: str) -> HttpResponse:
    """List the accounts; the form invites another."""
    visit = enter(request, site, Act.ACCOUNTS)
    form = InviteForm(request.POST or None, site=visit.site)
    if form.is_valid():
        data = form.cleaned_data
        account = NewAccount(data["username"], data["full_name"], tuple(data["roles"]), data["person"], data["email"])
        user = services.invite(visit.site, account, by=visit.actor)
        return _show_link(request, visit, user)
    held: dict[int, list[str]] = {}
    for row in Membership.objects.filter(site=visit.site, retired_at=None):
        held.setdefault(row.user_id, []).append(str(SiteRole(row.role).label))
    context = {
        "form": form,
        "rows": [(user, held.get(user.pk, [])) for user in _accounts_of(visit)],
        "acts": [(SiteRole(role).label, [act.words for act in sorted(allowed)]) for role, allowed in ACTS.items()],
        "locked": AccessAttempt.objects.order_by("-attempt_time")[:20],
        "with_proofs": set(SecondFactor.objects.filter(retired_at=None).values_list("user_id", flat=True)),
        "place": "setup",
    }
    return render(request, "accounts/accounts.html", context, status=422 if form.is_bound else 200)


def _show_link(request: HttpRequest, visit: Visit, user: User) -> HttpResponse:
    """Show the one-time link once, to be handed over by whoever made it."""
    link = request.build_absolute_uri(invites.password_link(user))
    return render(request, "accounts/link.html", {"account": user, "link": link, "place": "setup"})


@require_POST
def new_link(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Make a one-time link by which the person sets a new password."""
    visit = enter(request, site, Act.ACCOUNTS)
    user = _account(visit, pk)
    try:
        refuse_beyond(user, request.user)
    except ValidationError as refused:
        messages.error(request, " ".join(refused.messages))
        return redirect("accounts:accounts", site=site)
    services.note_new_link(user, by=visit.actor, site=visit.site)
    return _show_link(request, visit, user)


def roles(request: HttpRequest, site: str, pk: int) -> HttpResponse:
    """Change the roles of one account at this site."""
    visit = enter(request, site, Act.ACCOUNTS)
    user = _account(visit, pk)
    held = Membership.objects.filter(user=user, site=visit.site, retired_at=None).values_list("role", flat=True)
    form = RolesForm(request.POST or None, initial={"roles": list(held)})
    if form.is_valid():
        data = form.cleaned_data
        services.set_roles(user, visit.site, data["roles"], by=visit.actor, reason=data["reason"])
        return redirect("accounts:accounts", site=site)
    context = {"form": form, "account": user, "place": "setup"}
    return render(request, "accounts/roles.html", context, status=422 if form.is_bound else 200)


def set_active(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Deactivate an account or let it in again, with the reason."""
    visit = enter(request, site, Act.ACCOUNTS)
    user = _account(visit, pk)
    form = ReasonForm(request.POST or None)
    if form.is_valid():
        try:
            refuse_beyond(user, request.user)
            services.set_active(
                user, active=not user.is_active, by=visit.actor, reason=form.cleaned_data["reason"], site=visit.site
            )
        except ValidationError as refused:
            form.add_error(None, refused)
        else:
            return redirect("accounts:accounts", site=site)
    context = {"form": form, "account": user, "place": "setup"}
    return render(request, "accounts/set_active.html", context, status=422 if form.is_bound else 200)


def take_off_proofs(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Take every second proof off an account whose owner lost them; the password alone lets in until a new one is added."""
    visit = enter(request, site, Act.ACCOUNTS)
    user = _account(visit, pk)
    form = ReasonForm(request.POST or None)
    if form.is_valid():
        try:
            refuse_beyond(user, request.user)
            for row in factors.of(user):
                factors.take_off(row, by=visit.actor, reason=form.cleaned_data["reason"])
        except ValidationError as refused:
            form.add_error(None, refused)
        else:
            messages.success(request, _("%(name)s has no second proof any more.") % {"name": user})
            return redirect("accounts:accounts", site=site)
    context = {
        "form": form,
        "account": user,
        "place": "setup",
        "title": _("Take off the second proofs of %(name)s") % {"name": user},
    }
    return render(request, "accounts/proof_form.html", context, status=422 if form.is_bound else 200)


@require_POST
@transaction.atomic
def unlock(request: HttpRequest, site: str) -> HttpResponse:
    """Lift a lock after wrong passwords: a second person vouches for it."""
    visit = enter(request, site, Act.ACCOUNTS)
    username = request.POST.get("username", "")
    if reset(username=username):
        services.note_unlocked(username, by=visit.actor, site=visit.site)
        messages.success(request, _("%(name)s may try to sign in again.") % {"name": username})
    else:
        messages.info(request, _("%(name)s was not locked.") % {"name": username})
    return redirect("accounts:accounts", site=site)
