"""Who is told what: by their roles, and by who is on duty."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from facility.models import DutyPeriod, Membership, SiteRole, User

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import datetime

ANSWERING = (SiteRole.SUPERVISOR, SiteRole.DIRECTOR)


def roles_at(sites: Collection[int]) -> dict[int, dict[int, frozenset[str]]]:
    """Return the roles of every account that is in use, by site and account. One query."""
    rows = Membership.objects.filter(site__in=sites, retired_at=None, user__is_active=True)
    found: dict[int, dict[int, frozenset[str]]] = defaultdict(dict)
    for site, user, role in rows.order_by("site_id", "user_id").values_list("site_id", "user_id", "role"):
        found[site][user] = found[site].get(user, frozenset()) | {role}
    return found


def in_roles(site_id: int, *roles: str) -> list[int]:
    """Return the accounts that hold one of these roles at a site."""
    rows = Membership.objects.filter(site=site_id, role__in=roles, retired_at=None, user__is_active=True)
    return sorted(set(rows.values_list("user_id", flat=True)))


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
    rows = rows.order_by("-site_id")
    found = dict(rows.filter(user__is_superuser=True).values_list("user_id", "site_id"))
    found |= dict(rows.filter(role=SiteRole.DIRECTOR).values_list("user_id", "site_id"))
    first = (
        Membership.objects.filter(site__retired_at=None).order_by("site_id").values_list("site_id", flat=True).first()
    )
    for user in User.objects.filter(is_superuser=True, is_active=True).values_list("pk", flat=True):
        if first is not None and user not in found:
            found[user] = first
    return sorted(found.items())
