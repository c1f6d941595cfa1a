"""Drills and procedures."""

from __future__ import annotations

from typing import Any

from facility import events
from facility.access import Act
from facility.models import Procedure, Site
from facility.practice import services as practice
from tests import make

PAGES = {
    "practice:drills": Act.SEE, "practice:hold_drill": Act.PEOPLE, "practice:add_drill_kind": Act.PEOPLE,
    "practice:procedures": Act.SEE, "practice:procedure": Act.SEE, "practice:read_procedure": Act.SEE,
    "practice:write_procedure": Act.RULES, "practice:next_procedure": Act.RULES,
}  # fmt: skip


def rows(site: Site) -> dict[str, Any]:
    """Return one procedure."""
    row = practice.put_in_force(
        Procedure(site=site, key="fire", title="Fire inside", text="Shout", in_force_from=events.now()),
        by=make.BY, reason="first",
    )  # fmt: skip
    return dict.fromkeys(("practice:procedure", "practice:read_procedure", "practice:next_procedure"), row)
