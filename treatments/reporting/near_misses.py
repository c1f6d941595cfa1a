"""Near misses: told in a minute, with a name or without, and there for good."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext_lazy as _

from facility import events, services
from facility.events import Actor
from facility.models import Site
from treatments.models import NearMiss, NearMissAction

if TYPE_CHECKING:
    from datetime import datetime

    from django.db.models import QuerySet

NAMELESS = Actor(name="nameless report")
MOST_NAMELESS = 20
NAMELESS_SPAN = timedelta(hours=1)


class TooManyError(ValidationError):
    """More nameless reports in an hour than people write; the door is shut for a while."""


@transaction.atomic
def report(found: NearMiss, *, by: Actor | None) -> NearMiss:
    """Store a near miss under the site's next number. ``by`` None: nameless, whoever is signed in.

    Errors: TooManyError after 20 nameless ones in an hour; ValidationError if a field refuses it.
    """
    Site.objects.select_for_update().get(pk=found.site_id)
    if by is None:
        _refuse_flood(found.site, events.now())
        found.reporter = ""
    last = NearMiss.objects.filter(site=found.site_id).aggregate(last=Max("number"))["last"]
    found.number = (last or 0) + 1
    return services.add(found, by=by or NAMELESS, action="near miss reported")


def _refuse_flood(site: Site, now: datetime) -> None:
    lately = NearMiss.objects.filter(site=site, recorded_by=NAMELESS.name, recorded_at__gt=now - NAMELESS_SPAN).count()
    if lately >= MOST_NAMELESS:
        raise TooManyError(
            _(
                "%(count)d nameless reports came within the last hour, more than are taken. "
                "Keep what you wrote, try again in an hour, or sign in."
            ),
            code="flood", params={"count": lately},
        )  # fmt: skip


def act_on(near_miss: NearMiss, action: NearMissAction, *, by: Actor) -> NearMissAction:
    """Store what is done about a near miss; one that closes it comes last.

    Errors: ValidationError if it is closed already, or a field refuses it.
    """
    action.near_miss = near_miss
    if is_closed(near_miss):
        raise ValidationError(
            _("Near miss %(number)d is closed. What comes up later is a near miss of its own."),
            code="closed",
            params={"number": near_miss.number},
        )
    return services.add(action, by=by, action="near miss closed" if action.closes else "near miss followed up")


def is_closed(near_miss: NearMiss) -> bool:
    """Return whether an action closed it."""
    return near_miss.actions.filter(closes=True, retired_at=None).exists()


def of_site(site: Site) -> QuerySet[NearMiss]:
    """Return every near miss of a site, newest first, with its actions."""
    return NearMiss.objects.filter(site=site).prefetch_related("actions").order_by("-number")
