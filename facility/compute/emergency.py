"""The emergency crew beside the minimum crew: a second matching, which never changes the state of a plan."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from facility.compute.facts import CREW, Role
from facility.compute.readiness import evaluate_plan, known_plan

if TYPE_CHECKING:
    from facility.compute.facts import Facility
    from facility.compute.findings import Finding
    from facility.compute.instants import Instant

Roles = tuple[Role, ...]


def crewed_by(facility: Facility, plan: str, roles: Roles) -> Facility:
    """Return the facility whose only plan is ``plan``, resting on these roles alone; nothing is waived.

    Errors: FactsError if the facility has no such plan.
    """
    known_plan(facility, plan)
    alone = replace(facility.plans[plan], roles=roles, needs=())
    return replace(facility, plans={plan: alone}, waivers=())


def crew_finding(facility: Facility, plan: str, roles: Roles, at: Instant) -> Finding | None:
    """Return how these roles are filled for a start at ``at``, by the same matching as the minimum crew.

    None where no role is named: a crew that nobody wrote down is never shown as met.
    Errors: FactsError if the facility has no such plan.
    """
    if not roles:
        known_plan(facility, plan)
        return None
    return evaluate_plan(crewed_by(facility, plan, roles), plan, at).findings[CREW]
