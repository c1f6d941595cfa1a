"""One chamber whose plan rests on one gauge, and who is told about it."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from facility import services
from facility.models import HouseRule, Notice, NoticeMute, Snooze, User
from tests import make
from tests.facility.readiness_db import build

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Chamber, Site
    from maintenance.models import Equipment

BY = make.BY


def gauge_chamber(done_on: date = date(2026, 11, 1), **site: Any) -> tuple[Chamber, Equipment]:
    """Return a chamber with a plan of one hour on one gauge, good for twelve months from a day."""
    place = make.site(**{"zone": "UTC", "key": "skerrow"} | site)
    chamber = make.chamber(place, key="chamber-1", name="Chamber 1")
    gauge = make.equipment(place, tag="DG-1")
    make.work(make.rule(gauge, months=12), done_on)
    build.plan(chamber, "tt6", build.need(chamber, "depth", gauge))
    return chamber, gauge


def rule(site: Site, key: str, value: int) -> None:
    """Set a house rule."""
    row = HouseRule(site=site, key=key, value=value, approved_by="Ina Test", in_force_from=build.LONG_AGO)
    services.add(row, by=BY)


def mute(site: Site, user: User, kind: str) -> NoticeMute:
    """Let an account not be told of one kind."""
    return services.add(NoticeMute(site=site, user=user, kind=kind, why="too much"), by=BY)


def snooze(site: Site, thing: str, until: datetime) -> Snooze:
    """Let somebody answer for a thing."""
    row = Snooze(site=site, thing=thing, owner=make.supervisor(site), until=until, why="part ordered")
    return services.add(row, by=BY)


def told(kind: str) -> list[Notice]:
    """Return the notices of a kind, in the order made."""
    return list(Notice.objects.filter(kind=kind).order_by("pk"))
