"""Hand-overs."""

from __future__ import annotations

from typing import Any

from facility.access import Act
from facility.models import Site
from facility.readiness.shift import services
from facility.readiness.shift.services import Said
from tests import make

PAGES = {"readiness:hand_overs": Act.SEE, "readiness:give_hand_over": Act.CHECK, "readiness:hand_over": Act.SEE}
SENDING = {"readiness:hand_over": Act.CHECK}


def rows(site: Site) -> dict[str, Any]:
    """Return one open hand-over."""
    return {"readiness:hand_over": services.give(site, Said("", ""), by=make.BY)}
