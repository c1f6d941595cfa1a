"""Accounts: made, invited, given roles, deactivated. Never deleted; each act writes its event."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext_lazy as _

from facility import events
from facility.events import Actor, What
from facility.models import Membership, Person, Site, SiteRole, User
from facility.services import add, change, need_reason, retire

if TYPE_CHECKING:
    from collections.abc import Iterable


@dataclass(frozen=True, slots=True)
class NewAccount:
    """Who is to get an account."""

    username: str
    full_name: str
    roles: tuple[str, ...]
    person: Person | None = None
    email: str = ""


def _note(action: str, user: User, *, by: Actor, reason: str = "", site: Site | None = None, **more: str) -> None:
    what = What(
        action=f"account:{action}",
        after={"username": user.username, "name": str(user), **more},
        reason=reason,
        site_key=site.key if site else "",
    )
    events.record(None, what, by=by)


@transaction.atomic
def make_first_user(user: User, password: str) -> User:
    """Store the first account of an installation; it may do everything everywhere.

    Errors: ValidationError if there is an account already or a field is refused.
    """
    if User.objects.exists():
        raise ValidationError(_("There is an account already. Sign in with it."), code="exists")
    user.is_superuser = True
    user.set_password(password)
    user.full_clean()
    user.save()
    _note("first made", user, by=events.system("first-user"))
    return user


@transaction.atomic
def invite(site: Site, account: NewAccount, *, by: Actor) -> User:
    """Store an account without a password and its roles at ``site``.

    Errors: ValidationError for a name in use, no role, an unknown role, or a person who has an account.
    """
    if not account.roles:
        raise ValidationError(_("Choose at least one role: an account without a role sees nothing."), code="roles")
    first, _space, last = account.full_name.strip().partition(" ")
    user = User(username=account.username, first_name=first, last_name=last, email=account.email)
    user.set_unusable_password()
    user.full_clean(exclude=["password"])
    user.save()
    _note("invited", user, by=by, site=site, roles=", ".join(account.roles))
    set_roles(user, site, account.roles, by=by, reason=str(_("invited")))
    if account.person is not None:
        link_person(account.person, user, by=by)
    return user


def link_person(person: Person, user: User, *, by: Actor) -> Person:
    """Tie an account to the person it belongs to.

    Errors: ValidationError if that person has an account already.
    """
    if person.user_id is not None:
        raise ValidationError(
            _("%(person)s has an account already. Deactivate that one first or choose nobody."),
            code="person",
            params={"person": person.name},
        )
    person.user = user
    return change(person, by=by, reason="account made", shown_version=person.row_version)


@transaction.atomic
def set_roles(user: User, site: Site, roles: Iterable[str], *, by: Actor, reason: str) -> None:
    """Let ``user`` hold exactly ``roles`` at ``site``.

    Errors: ValidationError for an unknown role or a blank reason.
    """
    wanted = set(roles)
    if unknown := wanted - set(SiteRole.values):
        raise ValidationError(_("There is no role “%(role)s”."), code="role", params={"role": sorted(unknown)[0]})
    held = {row.role: row for row in Membership.objects.filter(user=user, site=site, retired_at=None)}
    for role in sorted(wanted - set(held)):
        add(Membership(user=user, site=site, role=role), by=by, reason=need_reason(reason))
    for role in sorted(set(held) - wanted):
        retire(held[role], by=by, reason=reason)


@transaction.atomic
def set_active(user: User, *, active: bool, by: Actor, reason: str, site: Site) -> User:
    """Deactivate an account, which ends its sessions at once, or let it in again.

    Errors: ValidationError for one's own account, the last account that may do everything, or a blank reason.
    """
    reason = need_reason(reason)
    if not active and by.user_id == user.pk:
        raise ValidationError(_("You cannot deactivate your own account. Ask another director."), code="self")
    others = User.objects.filter(is_superuser=True, is_active=True).exclude(pk=user.pk)
    if not active and user.is_superuser and not others.exists():
        raise ValidationError(_("This is the last account that may set up sites."), code="last")
    user.is_active = active
    user.save(update_fields=["is_active"])
    _note("let in again" if active else "deactivated", user, by=by, reason=reason, site=site)
    return user


@transaction.atomic
def note_new_link(user: User, *, by: Actor, site: Site | None) -> None:
    """Record that a one-time link for a new password was shown to ``by``."""
    _note("password link shown", user, by=by, site=site)


@transaction.atomic
def set_password(user: User, password: str) -> User:
    """Store a new password, chosen by the person; the link that led here no longer holds."""
    user.set_password(password)
    user.save(update_fields=["password"])
    _note("password set", user, by=Actor(name=str(user), user_id=user.pk))
    return user


@transaction.atomic
def note_unlocked(username: str, *, by: Actor, site: Site) -> None:
    """Record that a lock after wrong passwords was lifted by a second person."""
    what = What(action="security:unlocked", after={"username": username}, site_key=site.key)
    events.record(None, what, by=by)


@transaction.atomic
def note_locked_out(username: str, address: str) -> None:
    """Record that too many wrong passwords locked this name at this address for a while."""
    what = What(action="security:locked out", after={"username": username[:150], "address": address})
    events.record(None, what, by=events.system("sign-in"))


def set_light(user: User, light: str) -> None:
    """Keep how this person lights the pages; a preference, not a record."""
    User.objects.filter(pk=user.pk).update(light=light)
