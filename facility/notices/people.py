"""Who is told what: by their roles, and by who is on duty.

At a site without a director the first accounts stand in, as on a box that somebody has just set up: they may do
everything there, and somebody has to be told.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from django.db.models import Q

from facility.models import DutyPeriod, Membership, Site, SiteRole, User

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import datetime

    from django.db.models import QuerySet

ANSWERING = (SiteRole.SUPERVISOR, SiteRole.DIRECTOR)


def roles_at(sites: Collection[int]) -> dict[int, dict[int, frozenset[str]]]:
    """Return the roles of every account that is in use, by site and account. Two queries."""
    rows = Membership.objects.filter(site__in=sites, retired_at=None, user__is_active=True)
    found: dict[int, dict[int, frozenset[str]]] = defaultdict(dict)
    for site, user, role in rows.order_by("site_id", "user_id").values_list("site_id", "user_id", "role"):
        found[site][user] = found[site].get(user, frozenset()) | {role}
    first = first_accounts()
    for site in sites:
        if not any(SiteRole.DIRECTOR in roles for roles in found[site].values()):
            for user in first:
                found[site][user] = found[site].get(user, frozenset()) | {SiteRole.DIRECTOR}
    return found


def first_accounts() -> list[int]:
    """Return the accounts that may do everything on this box."""
    return list(User.objects.filter(is_superuser=True, is_active=True).order_by("pk").values_list("pk", flat=True))


def first_zones() -> dict[int, str]:
    """Return the time zone of the first site at which each account is told of the day, in a role or standing in. Three queries."""
    rows = Membership.objects.filter(retired_at=None, user__is_active=True, site__retired_at=None)
    told = rows.exclude(role=SiteRole.INSPECTOR).order_by("-site_id")  # the last that is stored counts: the oldest site
    found = {user: (site, zone) for user, site, zone in told.values_list("user_id", "site_id", "site__zone")}
    led = rows.filter(role=SiteRole.DIRECTOR).values("site")
    alone = Site.objects.filter(retired_at=None).exclude(pk__in=led).order_by("pk").values_list("pk", "zone").first()
    if alone is not None:
        found |= {user: min(found.get(user, alone), alone) for user in first_accounts()}
    return {user: zone for user, (_site, zone) in found.items()}


def in_roles(site_id: int, *roles: str) -> list[int]:
    """Return the accounts that hold one of these roles at a site, or stand in for it."""
    return sorted(user for user, held in roles_at([site_id])[site_id].items() if not held.isdisjoint(roles))


def answering_at(site: Site) -> QuerySet[User]:
    """Return the accounts that may answer for a thing at a site: a role there other than the inspector's, or a first one."""
    roles = [role for role in SiteRole if role != SiteRole.INSPECTOR]
    held = Q(memberships__site=site, memberships__retired_at=None, memberships__role__in=roles)
    return User.objects.filter(held | Q(is_superuser=True), is_active=True).distinct()


def on_duty(site_id: int, at: datetime) -> list[int]:
    """Return the accounts of the crew who are on duty or on call."""
    rows = DutyPeriod.objects.filter(
        person__site=site_id, person__retired_at=None, person__user__is_active=True, retired_at=None,
        starts_at__lte=at, ends_at__gt=at,
    )  # fmt: skip
    return sorted(set(rows.values_list("person__user_id", flat=True)))


def answering(site_id: int, at: datetime) -> list[int | None]:
    """Return who is told at once that readiness changed: supervisors, directors, who is on duty, the site's own ways."""
    return [*sorted({*in_roles(site_id, *ANSWERING), *on_duty(site_id, at)}), None]


def of_the_box() -> list[tuple[int, int]]:
    """Return who looks after the box, each with one of their sites: first accounts, and directors of any site."""
    rows = Membership.objects.filter(retired_at=None, site__retired_at=None, user__is_active=True)
    rows = rows.order_by("-site_id")  # the last that is stored counts: their oldest site
    found = dict(rows.filter(user__is_superuser=True).values_list("user_id", "site_id"))
    found |= dict(rows.filter(role=SiteRole.DIRECTOR).values_list("user_id", "site_id"))
    oldest = Site.objects.filter(retired_at=None).order_by("pk").values_list("pk", flat=True).first()
    if oldest is not None:
        found = dict.fromkeys(first_accounts(), oldest) | found
    return sorted(found.items())
