"""Open defects of a gas bank at the instant of an answer: what the tag says, and for which plans it counts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.gathered import minute_down
from maintenance.models import DefectEffect

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.readiness.services import Answer
    from maintenance.readiness import DefectRow


def open_defects(answer: Answer, name: str) -> list[DefectRow]:
    """Return the open defects of a member; those that take it out of service first."""
    rows = [
        row
        for row in answer.names.defects(name)
        if minute_down(row.found_at) <= answer.at
        and (row.returned_at is None or minute_down(row.returned_at) > answer.at)
    ]
    return sorted(rows, key=lambda row: (row.effect != DefectEffect.STOPS, row.number))


def tags(answer: Answer, name: str) -> Iterator[tuple[str, str]]:
    """Give a mark and a sentence for each open defect of a member."""
    for row in open_defects(answer, name):
        said = {"tag": f"{row.number:04d}", "what": row.what}
        if row.effect == DefectEffect.STOPS:
            yield "tag", _("out of service, tag %(tag)s: %(what)s") % said
        else:
            yield "limits", _("restricted, tag %(tag)s: %(what)s") % said


def out_of_service(answer: Answer, name: str, plan: str) -> list[str]:
    """Return the tag numbers that take a member out of service for a plan."""
    return [
        f"{row.number:04d}"
        for row in open_defects(answer, name)
        if row.effect == DefectEffect.STOPS and (not row.plans or plan in row.plans)
    ]
