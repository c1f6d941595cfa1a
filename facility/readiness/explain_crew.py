"""Why the crew is what it is: places filled and short, who would fill one, and what lacks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.compute.findings import Finding, Lift, dump_instant
from facility.compute.instants import FOREVER
from facility.compute.signals import Signal, window, worst
from facility.compute.states import BAD, UNKNOWN
from facility.counted import counted
from facility.readiness import explain_people, words
from facility.readiness.explain_members import MEMBER_STATES

if TYPE_CHECKING:
    from facility.compute.facts import Role
    from facility.compute.instants import Instant
    from facility.compute.outlook import Outlook, Run
    from facility.readiness.names import Names

Plain = dict[str, Any]


def explain_crew(outlook: Outlook, run: Run, finding: Finding, names: Names) -> Plain:
    """Return what a site adds to the crew's finding."""
    places = finding.crew
    slots = places.slots if places else 0
    good = places.filled[1] if places else 0
    zone = outlook.facility.zone
    lifts = [_lift(one, names, outlook.at, zone) for one in places.lifts] if places else []
    said = [_reason(outlook, run, finding), *explain_people.sentences(run.plan, names, outlook.at, zone)]
    return {
        "name": names.need_names["crew"],
        "reason": " ".join(one for one in said if one),
        "value": words.places_filled(good, slots),
        "limit": _("%d places, each another person") % slots,
        "source": "",
        "lift": _lift_words(finding, lifts),
        "members": [one for role in run.plan.roles for one in _of_role(outlook, run, role, names)],
    }


def _reason(outlook: Outlook, run: Run, finding: Finding) -> str:
    places = finding.crew
    if places is None:
        return ""
    roles = ", ".join(role.role if role.count == 1 else f"{role.count} {role.role}" for role in run.plan.roles)
    if not places.roles_short:
        if finding.lapses_at is None:
            return _("All %(slots)d places can be filled: %(roles)s.") % {"slots": places.slots, "roles": roles}
        end = words.when(finding.lapses_at, outlook.facility.zone)
        said = {"slots": places.slots, "roles": roles, "end": end}
        return _("All %(slots)d places can be filled until %(end)s: %(roles)s.") % said
    short = places.slots - places.filled[1]
    said = {"short": short, "places": counted(places.slots, "place", "places"), "roles": ", ".join(places.roles_short)}
    if places.filled[2] > places.filled[1]:
        text = _("%(short)d of %(places)s are not filled by people known to be good for them: %(roles)s.")
    else:
        text = _("%(short)d of %(places)s short: %(roles)s.")
    return text % said


def _lift(lift: Lift, names: Names, at: Instant, zone: str) -> str:
    """Say who would fill a place, and what that person lacks."""
    row = names.people.get(lift.person)
    lacks = [explain_people.lacks_words(lack, row, names, at, zone) for lack in lift.lacks]
    person = row.name if row else lift.person
    return _("%(person)s as %(role)s, lacking %(lacks)s") % {
        "person": person,
        "role": lift.role,
        "lacks": ", ".join(lacks),
    }


def _lift_words(finding: Finding, lifts: list[str]) -> str:
    places = finding.crew
    if places is None or not places.roles_short:
        return ""
    more = _("one more person for %(roles)s") % {"roles": _(" or ").join(places.roles_short)}
    if not lifts:
        return more
    return _("%(more)s; or %(lifts)s") % {"lifts": words.listed(lifts), "more": more}


def _person(outlook: Outlook, key: str, role: Role, part: tuple[int, int]) -> Signal:
    """How good a person is for a role: duty, waits, every qualification, the medical."""
    steps = [outlook.presence(key), *(outlook.qualification(key, one) for one in role.qualifications)]
    if role.medical:
        steps.append(outlook.medical(key))
    return worst([window(one, *part) for one in steps])


def _of_role(outlook: Outlook, run: Run, role: Role, names: Names) -> list[Plain]:
    """Return the people who are not ruled out for a role, each with an own end."""
    found: list[Plain] = []
    part = run.part(role.from_, role.to)
    for key in outlook.facility.people:
        level = _person(outlook, key, role, part).level(outlook.at)
        if level >= BAD:
            continue
        now = _person(outlook, key, role, (0, 0))
        here = now.level(outlook.at)
        end = now.until_worse(outlook.at, here) if here < UNKNOWN else FOREVER
        row = names.people.get(key)
        found.append(
            {
                "id": f"person:{key}",
                "name": row.name if row else key,
                "role": role.role,
                "state": MEMBER_STATES[level],
                "reason": explain_people.role_words(role, row, outlook.facility.zone),
                "causes": [],
                "value": "",
                "limit": "",
                "source": "",
                "good_until": dump_instant(None if end >= FOREVER else end),
                "record": {"kind": "person", "pk": row.pk} if row else None,
            }
        )
    return found
