"""How long it takes until everybody's digest is stored and waits to be sent, and whether memory grows with sites.

Limits: design goals of this project; common practice, no source. The time is this process's own on SQLite.
"""

from __future__ import annotations

import tracemalloc
from datetime import timedelta
from itertools import count
from typing import TYPE_CHECKING

from facility import events
from facility.models import Delivery, Membership, Notice, NoticeKind, NoticeWay, Site, SiteRole, User
from facility.notices import digest
from facility.project.bench.readiness import clock
from facility.project.bench.result import Result
from facility.project.bench.scratch import Size, bulk, facilities, scratch_database
from facility.sweep import looking

if TYPE_CHECKING:
    from datetime import datetime

QUEUED_LIMIT_S, MEMORY_LIMIT = 20.0, 1.2
PEOPLE, SITES = 10_000, 100
FEW, MANY, AT_EACH = 25, 100, 20
SIZE = Size(items=40, people=8, plans=4, needs=20, months=1)
ROLES = (SiteRole.SUPERVISOR, SiteRole.TENDER, SiteRole.OPERATOR, SiteRole.MAINTAINER, SiteRole.TENDER)
_numbers = count(1)


def queued() -> Result:
    """The digests of 10 000 people at 100 sites with flags, each on one way of their own."""
    with scratch_database():
        everybody(SITES, PEOPLE // SITES)
        at = noon(1)
        begun = clock()
        digest.make(at)
        taken = clock() - begun
        waiting = Delivery.objects.filter(notice__kind=NoticeKind.DIGEST, sent_at=None, given_up_at=None).count()
        stored = Notice.objects.count()
    if waiting != PEOPLE:
        raise RuntimeError(f"{waiting} deliveries wait, {PEOPLE} were to.")
    return Result("notices of 10 000 people queued", taken, QUEUED_LIMIT_S, "s", f"{stored} notices at {SITES} sites")


def memory() -> Result:
    """The most memory held while making the digests of four times the sites, against the few."""
    with scratch_database():
        everybody(FEW, AT_EACH)
        low = _peak(1)
        everybody(MANY - FEW, AT_EACH)
        high = _peak(2)
    return Result("memory of digests, four times the sites", high / low, MEMORY_LIMIT, "times")


def _peak(days: int) -> int:
    """Return the most bytes that Python held while making the digests of a day."""
    tracemalloc.start()
    try:
        digest.make(noon(days))
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def everybody(sites: int, people: int) -> None:
    """Store sites with records, what falls due there, and accounts with a way each."""
    facilities(sites, SIZE, prefix=f"f{next(_numbers)}")
    new = list(Site.objects.order_by("-pk")[:sites])
    for site in new:
        users = User.objects.bulk_create(User(username=f"u{next(_numbers)}") for _ in range(people))
        bulk(Membership(user=user, site=site, role=ROLES[n % len(ROLES)]) for n, user in enumerate(users))
        bulk(
            NoticeWay(site=site, user=user, way="push", address=f"https://push.example.org/{user.pk}")
            for user in users
        )  # fmt: skip
    looking.sweep(noon(1))


def noon(days: int) -> datetime:
    """Return noon in UTC some days ahead: the clock must not run behind the events that a sweep just stored."""
    return events.now().replace(hour=12, minute=0) + timedelta(days=days)
