"""The e-mail address of an account, chosen by its owner: from then on its notices go there, at every site."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _

from facility import events
from facility.events import What
from facility.models import NoticeWay, Site, User, Way
from facility.notices import ways
from facility.notices.masked import masked

if TYPE_CHECKING:
    from facility.events import Actor


@transaction.atomic
def choose(user: User, address: str, *, by: Actor) -> bool:
    """Store an address, none if it is blank, and let the e-mail ways that followed the old one follow it.

    Return False if it was the account's address already.

    Errors: ValidationError by field, if nothing can be sent to it.
    """
    address = address.strip()
    if address:
        ways.refuse_address(Way.EMAIL, address)
    old = User.objects.select_for_update().values_list("email", flat=True).get(pk=user.pk)
    if address == old:
        return False
    user.email = address
    user.save(update_fields=["email"])
    told = {"username": user.username, "address": _shown(address)}
    events.record(None, What("account:e-mail chosen", before={"address": _shown(old)}, after=told), by=by)
    _follow(user, old, by=by)
    return True


def _shown(address: str) -> str:
    return masked(Way.EMAIL, address) if address else ""


def _follow(user: User, old: str, *, by: Actor) -> None:
    """Retire the ways to the old address and add those to the new one; a site where e-mail was given up stays without."""
    mine = NoticeWay.objects.filter(user=user, way=Way.EMAIL)
    moved = list(mine.filter(address=old, retired_at=None).select_related("site")) if old else []
    for row in moved:
        ways.retire(row, by=by, reason=_("The account has another address."))
    if not user.email:
        return
    there = {row.site_id for row in mine.filter(address=user.email, retired_at=None)}
    roles = Site.objects.filter(memberships__user=user, memberships__retired_at=None, retired_at=None).distinct()
    never = roles.exclude(notice_ways__in=mine)
    for site in dict.fromkeys([*(row.site for row in moved), *never]):
        if site.pk not in there:
            ways.add(NoticeWay(site=site, user=user, way=Way.EMAIL, address=user.email), by=by)
