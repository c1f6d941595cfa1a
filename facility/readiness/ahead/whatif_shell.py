"""The short forms of what-if at the command line: people by key, items by tag, a run by its plan."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.compute.changes import AfterRun, Change, OutOfService, WithoutPerson
from facility.compute.facts import Bank
from facility.readiness import services
from facility.readiness.shell import AskedWrongError

if TYPE_CHECKING:
    from facility.compute.facts import Facility
    from facility.compute.instants import Instant
    from facility.readiness.services import Answer
    from facility.readiness.shell import Asked


def answer_with(question: Asked, plan: str | None) -> Answer:
    """Return the answer for the chamber that has the plan; without a plan there must be one chamber only.

    Errors: AskedWrongError naming the chambers or the plans there are.
    """
    found = list(services.answers(question.chambers, question.at))
    if plan is None:
        if len(found) != 1:
            raise AskedWrongError(
                _("Site %(site)s has %(n)d chambers. Name one with --chamber, or a plan with --plan.")
                % {"site": question.site.key, "n": len(found)}
            )
        return found[0]
    fitting = [answer for answer in found if plan in answer.facts.plans]
    if len(fitting) == 1:
        return fitting[0]
    known = ", ".join(sorted({key for answer in found for key in answer.facts.plans})) or _("none at all")
    words = (
        _("No plan %(plan)s at %(site)s. Plans: %(known)s.")
        if not fitting
        else _("Plan %(plan)s is in force in several chambers of %(site)s. Name one with --chamber. Plans: %(known)s.")
    )
    raise AskedWrongError(words % {"plan": repr(plan), "site": question.site.key, "known": known})


def members_of(answer: Answer) -> dict[str, str]:
    """Return member ids by what stands on the plate: the tag of an item, the key of a bank."""
    return {name.partition(":")[2]: name for name in answer.facts.members if name.startswith(("equipment:", "bank:"))}


def short_forms(facility: Facility, at: Instant, options: Mapping[str, Any]) -> Iterator[Change]:
    """Yield the changes that --after-run, --without and --out ask for.

    Errors: FactsError later, when a name is not among the facts.
    """
    plates: Mapping[str, str] = options.get("members") or {}
    if options["after_run"]:
        plan = options["after_run"]
        yield AfterRun(plan, at, first_banks(facility, plan), tuple(options["inside"]))
    for person in options["without"]:
        yield WithoutPerson(person)
    for tag in options["out"]:
        yield OutOfService(plates.get(tag, tag))


def first_banks(facility: Facility, plan: str) -> dict[str, str]:
    """Return the first bank of each gas among the plan's needs."""
    banks: dict[str, str] = {}
    if plan not in facility.plans:
        return banks
    for need in facility.plans[plan].needs:
        for name in facility.needs[need].members:
            member = facility.members[name]
            if isinstance(member, Bank) and member.gas in facility.plans[plan].gas:
                banks.setdefault(member.gas, name)
    return banks
