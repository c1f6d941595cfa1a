"""A small organisation: three sites, one chamber each, and its kept answers."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from facility.models import Chamber, Organisation
from tests import make
from tests.facility.readiness_db import build

if TYPE_CHECKING:
    from datetime import datetime

T = build.T


def chamber(organisation: Organisation | None = None, *, table: str = "Table 6", **fields: str) -> Chamber:
    """Return a chamber of a site of its own, with one plan that rests on a gauge calibrated through October 2027."""
    place = make.site(organisation=organisation, zone="UTC", **fields)
    found = make.chamber(place, key="chamber-1", name="Chamber 1")
    gauge = build.need(found, "depth", build.good_gauge(found), name="Depth gauge")
    build.plan(found, "tt6", gauge, name=table, margin_min=0)
    return found


def three() -> list[Chamber]:
    """Return the chambers of three sites of one organisation."""
    organisation = make.organisation(name="Northern chambers")
    return [chamber(organisation, key=key, name=key.capitalize()) for key in ("alna", "bekk", "dokka")]


def after(minutes: float) -> datetime:
    """Return an instant so many minutes after that of the worked example."""
    return T + timedelta(minutes=minutes)
