"""What a single value cannot show: spans that run backwards, names that nobody has."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from zoneinfo import ZoneInfo

from facility.compute.facts import (
    CREW,
    Bank,
    Check,
    Defect,
    Facility,
    Held,
    Member,
    Need,
    Person,
    Role,
    Span,
    Waiver,
)
from facility.compute.instants import FactsError, Instant, format_instant


def check_facility(facility: Facility) -> None:
    """Refuse names that do not exist and spans that end before they begin.

    Errors: FactsError naming the place, the value and what is allowed.
    """
    _check_zone(facility.zone)
    for name, member in facility.members.items():
        _check_member(facility, f"members.{name}", member)
    for name, person in facility.people.items():
        for place, spans in _spans(person):
            _check_spans(f"people.{name}.{place}", spans)
    for name, need in facility.needs.items():
        _check_need(facility, name, need)
    for name, plan in facility.plans.items():
        _known(f"plans.{name}.needs", plan.needs, facility.needs, "need")
        _check_roles(f"plans.{name}.roles", plan.roles)
    for position, waiver in enumerate(facility.waivers):
        _check_waiver(facility, f"waivers[{position}]", waiver)


def _check_zone(zone: str) -> None:
    try:
        ZoneInfo(zone)
    except (ValueError, OSError, LookupError) as error:
        raise FactsError(f"zone: {zone!r} is not known. Give a zone such as Europe/Oslo.") from error


def _check_member(facility: Facility, place: str, member: Member) -> None:
    if isinstance(member, Check):
        return
    if isinstance(member, Bank) and facility.age_limit_min.bank is None:
        raise FactsError(
            f"age_limit_min.bank is missing, but {place} is a bank. Give the age in "
            "minutes at which a reading is too old."
        )
    for due in member.due:
        if isinstance(due.until, int):
            _check_span(f"{place}.due {due.name!r}", due.from_, due.until)
    _check_spans(f"{place}.defects", member.defects)
    for defect in member.defects:
        _known(f"{place}.defects", defect.plans or (), facility.plans, "plan")


def _spans(person: Person) -> Iterator[tuple[str, tuple[Held | Span, ...]]]:
    for name, held in person.qualifications.items():
        yield f"qualifications.{name}", held
    yield "medical", person.medical
    yield "duty", person.duty
    yield "waits", person.waits
    yield "restricted", person.restricted


def _check_spans(place: str, spans: Iterable[Held | Span | Defect]) -> None:
    for position, span in enumerate(spans):
        _check_span(f"{place}[{position}]", span.from_, span.until)


def _check_span(place: str, start: Instant | None, until: Instant | None) -> None:
    if start is not None and until is not None and until <= start:
        raise FactsError(
            f"{place}: until {format_instant(until)} is not after from {format_instant(start)}. Give a later until."
        )


def _check_part(place: str, start: int, end: int | None) -> None:
    if end is not None and end < start:
        raise FactsError(f"{place}: to {end} is before from {start}. Give a later to.")


def _check_need(facility: Facility, name: str, need: Need) -> None:
    place = f"needs.{name}"
    if name == CREW:
        raise FactsError(f"{place}: {CREW!r} is kept for the crew. Give another name.")
    if need.k < 1:
        raise FactsError(f"{place}.k: {need.k} is refused. At least 1 is allowed.")
    _known(f"{place}.members", need.members, facility.members, "member")
    _check_part(place, need.from_, need.to)
    if need.gas is None:
        return
    others = [name for name in need.members if not isinstance(facility.members[name], Bank)]
    if others and len(others) == len(need.members):
        raise FactsError(
            f"{place}.gas: {need.gas!r} is for banks only, but member "
            f"{others[0]!r} is no bank. Leave gas out or name a bank."
        )


def _check_roles(place: str, roles: tuple[Role, ...]) -> None:
    names = [role.role for role in roles]
    for role in roles:
        _check_part(f"{place} {role.role!r}", role.from_, role.to)
        if names.count(role.role) > 1:
            raise FactsError(
                f"{place}: role {role.role!r} is given twice. Raise its count, or give relief a name of its own."
            )


def _check_waiver(facility: Facility, place: str, waiver: Waiver) -> None:
    _check_span(place, waiver.from_, waiver.until)
    _known(f"{place}.plans", waiver.plans or (), facility.plans, "plan")
    if waiver.need != CREW:
        _known(f"{place}.need", (waiver.need,), facility.needs, "need")
        return
    roles = {role.role: role for plan in facility.plans.values() for role in plan.roles}
    _known(f"{place}.without", waiver.without, roles, "role")


def _known(place: str, names: Iterable[str], known: Collection[str], what: str) -> None:
    for name in names:
        if name not in known:
            some = ", ".join(list(known)[:8]) or "none at all"
            raise FactsError(f"{place}: no {what} {name!r}. Known: {some}.")
