"""Profiles that an instrument recorded."""

from __future__ import annotations

from typing import Any

from facility import services
from facility.access import Act
from facility.models import Evidence, Site
from tests import make
from treatments.models import RecordedProfile, Run

PAGES = {"treatments:take_profile": Act.LOG, "treatments:profile": Act.SEE}
SENDING = {"treatments:profile": Act.LOG}


def rows(site: Site) -> dict[str, Any]:
    """Return one existing thing for each page that asks for one."""
    run = Run.objects.filter(chamber__site=site)[0]
    file = Evidence(site=site, sha256="1" * 64, media_type="text/csv", size_bytes=1, original_name="a.csv")
    columns = {
        "delimiter": ";", "decimal": ".", "head_row": 0, "time": 0, "depth": 1, "time_form": "seconds", "unit": "fsw",
        "gas": None, "oxygen": None, "surface_kpa": None, "day": None, "first_row": None, "last_row": None,
    }  # fmt: skip
    row = services.add(
        RecordedProfile(
            run=run, evidence=services.add(file, by=make.BY), instrument="DG-3", depth_unit="fsw", samples=2, columns=columns,
            pieces=[["descent", 0, 3, 0, 60]],
        ),
        by=make.BY,
    )  # fmt: skip
    return {"treatments:take_profile": run, "treatments:profile": row}
