"""The emergency crew on the pages: shown beside the minimum crew, on which alone the state rests."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.compute.emergency import crew_finding
from facility.compute.facts import CREW
from facility.compute.states import FindingState
from facility.readiness import words
from facility.readiness.why import Line, Sum

if TYPE_CHECKING:
    from facility.compute.findings import Finding
    from facility.readiness.services import Answer


def crew_sum(answer: Answer, plan: str) -> Sum | None:
    """Return minimum and emergency crew side by side; nothing where the plan names no emergency crew."""
    roles = answer.names.plans[plan].emergency()
    emergency = crew_finding(answer.facts, plan, roles, answer.at)
    minimum = answer.evaluations[plan].findings.get(CREW)
    if emergency is None or minimum is None:
        return None
    zone = answer.facts.zone
    lines = [
        Line(_("Minimum crew, on which the state rests"), _said(minimum, zone)),
        Line(_("Emergency crew"), _said(emergency, zone)),
    ]
    if not _is_met(minimum) and _is_met(emergency):
        last = (
            _("needs a waiver of the crew") if answer.facts.plans[plan].crew_waivable else _("outside the house rules")
        )
        lines.append(Line(_("A run with the emergency crew"), last, "end"))
    return Sum(_("Minimum and emergency crew"), tuple(lines))


def _is_met(finding: Finding) -> bool:
    """Whether every place is filled without looking at waivers."""
    return finding.without_waiver in (FindingState.HOLDS, FindingState.LIMITS)


def _said(finding: Finding, zone: str) -> str:
    """Say how many places are filled, and before when a run must start to keep them."""
    places = finding.crew
    text = words.places_filled(*(places.filled[1], places.slots) if places else (0, 0))
    if not _is_met(finding):
        if places and places.filled[2] == places.slots:
            return _("%(places)s, the rest not known") % {"places": text}
        return _("%(places)s, not met") % {"places": text}
    if finding.start_until is None:
        return _("%(places)s, no end on record") % {"places": text}
    return _("%(places)s, for a start before %(end)s") % {"places": text, "end": words.when(finding.start_until, zone)}
