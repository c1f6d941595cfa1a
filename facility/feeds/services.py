"""Secret addresses of calendars: made, found by their secret, revoked."""

from __future__ import annotations

import hashlib
import secrets
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import services
from facility.access import Act, acts_of
from facility.models import CalendarFeed, FeedSort, Membership, Person

if TYPE_CHECKING:
    from datetime import datetime

    from facility.events import Actor
    from facility.models import Site, User

SECRET_BYTES = 32
MOST = 10
"""Addresses that one account may have at a site; common practice, no source."""


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def person_of(user: User, site: Site) -> Person | None:
    """Return whom of the crew an account is at a site."""
    return Person.objects.filter(site=site, user=user, retired_at=None).select_related("site").first()


@transaction.atomic
def make(site: Site, user: User, sort: str, *, by: Actor) -> tuple[CalendarFeed, str]:
    """Store an address and return it with its secret, which is shown once and stored nowhere.

    Errors: ValidationError if the account is nobody of the crew, or has too many addresses already.
    """
    if sort == FeedSort.MINE and person_of(user, site) is None:
        said = _("Your account is nobody of the crew here, so it has no days of its own. Take another calendar, or ask")
        raise ValidationError({"sort": f"{said} {_('who keeps the people to join them.')}"})
    if CalendarFeed.objects.filter(site=site, user=user, retired_at=None).count() >= MOST:
        raise ValidationError(_("You have %(n)s addresses here already. Revoke one first.") % {"n": MOST})
    secret = secrets.token_urlsafe(SECRET_BYTES)
    row = CalendarFeed(site=site, user=user, sort=sort, secret_sha256=_digest(secret))
    return services.add(row, by=by, action="calendar address made"), secret


def revoke(row: CalendarFeed, *, by: Actor, reason: str) -> CalendarFeed:
    """Let an address answer no longer.

    Errors: ValidationError for a blank reason, or if it was revoked already.
    """
    return services.retire(row, by=by, reason=reason, action="calendar address revoked")


def feed_of(secret: str) -> CalendarFeed | None:
    """Return the feed of a secret; none once it is revoked, or its account is shut or may no longer see the site."""
    rows = CalendarFeed.objects.filter(secret_sha256=_digest(secret), retired_at=None, site__retired_at=None)
    feed = rows.filter(user__is_active=True).select_related("site", "user").first()
    return feed if feed is not None and _may_see(feed.user, feed.site) else None


def _may_see(user: User, site: Site) -> bool:
    if user.is_superuser:
        return True
    roles = Membership.objects.filter(user=user, site=site, retired_at=None).values_list("role", flat=True)
    return Act.SEE in acts_of(list(roles))


def note_read(feed: CalendarFeed, at: datetime) -> None:
    """Note roughly when an address was last read, so that a forgotten one is seen as such."""
    if feed.read_at is None or (at - feed.read_at).total_seconds() > 3600:  # noqa: PLR2004  # an hour
        CalendarFeed.objects.filter(pk=feed.pk).update(read_at=at)
