"""Whose page over many sites it is: the chambers that an account may see there."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef

from facility.gathered import current
from facility.models import Chamber, Membership, Site, SiteRole

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from facility.models import User


@dataclass(frozen=True, slots=True)
class Scope:
    """Chambers of the sites where an account has a role, and those sites that have none.

    ``only``: the key of its only site; ``many``: the page is for it.
    """

    chambers: QuerySet[Chamber]
    bare: QuerySet[Site]
    only: str
    many: bool


def every_chamber() -> QuerySet[Chamber]:
    """Return the chambers that are still there, of all sites."""
    return current(Chamber).filter(site__retired_at=None)


def without_chamber() -> QuerySet[Site]:
    """Return the sites of which no chamber is recorded: nothing is known of them."""
    return current(Site).exclude(Exists(current(Chamber).filter(site=OuterRef("pk")))).order_by("name")


def scope_of(user: User) -> Scope:
    """Return what an account may see. One query.

    The page is for whoever has a role at two or more sites of one organisation, for a director of any site with a
    role at more than one, and for first accounts.
    """
    if user.is_superuser:
        keys = list(current(Site).values_list("key", flat=True)[:2])
        return Scope(every_chamber(), without_chamber(), keys[0] if len(keys) == 1 else "", len(keys) > 1)
    roles = current(Membership).filter(user=user, site__retired_at=None)
    sites: dict[str, int] = {}
    of_organisation: dict[int, set[str]] = defaultdict(set)
    director = False
    for key, organisation, role in roles.values_list("site__key", "site__organisation_id", "role"):
        sites[key] = organisation
        of_organisation[organisation].add(key)
        director |= role == SiteRole.DIRECTOR
    several = any(len(keys) > 1 for keys in of_organisation.values())
    only = next(iter(sites)) if len(sites) == 1 else ""
    own, many = roles.values("site"), several or (director and len(sites) > 1)
    return Scope(every_chamber().filter(site__in=own), without_chamber().filter(pk__in=own), only, many)
