"""Waivers and call-outs."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from facility import events
from facility.access import Act
from facility.models import Site
from tests import make
from treatments.calling import calls, waivers
from treatments.calling.waivers import Grant
from treatments.models import Need, Waiver

PAGES = {
    "readiness:waivers": Act.SEE, "readiness:grant_waiver": Act.WAIVE, "readiness:record_waiver": Act.RUN,
    "readiness:waiver": Act.SEE, "readiness:countersign_waiver": Act.WAIVE, "readiness:begin_call": Act.RUN,
    "readiness:call": Act.SEE, "readiness:answer_call": Act.RUN,
}  # fmt: skip
SENDING = {"readiness:waiver": Act.RUN, "readiness:call": Act.RUN}


def rows(site: Site) -> dict[str, Any]:
    """Return one existing thing for each page that asks for one."""
    chamber = site.chambers.get()
    now = events.now()
    waiver = waivers.grant(
        Waiver(
            chamber=chamber, need=Need.objects.filter(chamber=chamber, waivable=True)[0], starts_at=now,
            ends_at=now + timedelta(hours=4), why="part on order", counter_measure="read by hand", granted_by="Dr Test",
            spoken=True,
        ),
        Grant(None, True, ""), by=make.BY,
    )  # fmt: skip
    call = calls.begin(chamber, [], by=make.BY)
    return {
        "readiness:waiver": waiver, "readiness:countersign_waiver": waiver, "readiness:call": call,
        "readiness:answer_call": call,
    }  # fmt: skip
