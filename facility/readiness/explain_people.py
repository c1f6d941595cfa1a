"""Why somebody of the crew does not count: inside a wait, not rested, not practised for too long, or declared not to be fit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.compute.instants import end_of_local_day
from facility.gathered import minute_down, minute_up
from facility.readiness import words
from facility.readiness.times import local

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.compute.facts import Plan, Role
    from facility.compute.instants import Instant
    from facility.gathered import Row
    from facility.readiness.gather_people import PersonRow
    from facility.readiness.names import Names
    from facility.readiness.telling.recency import Recency


def sentences(plan: Plan, names: Names, at: Instant, zone: str) -> list[str]:
    """Return a sentence for each person whom a wait, a declaration, want of rest or of practice keeps from this plan's crew."""
    asked = {name for role in plan.roles for name in role.qualifications}
    people = sorted(names.people.values(), key=lambda row: row.name)
    return [
        one
        for person in people
        for one in (
            *_waiting(person, asked, at, zone), *_declared(person, asked, at, zone), *_lapsed(person, asked, at, zone), *_tired(person, asked, names, zone)
        )
    ]  # fmt: skip


def _tired(person: PersonRow, asked: set[str], names: Names, zone: str) -> Iterator[str]:
    """Say the first span in which somebody has not rested, now or next, by the roster and the house's rules."""
    spans = names.records.tired.get(person.pk, ())
    if spans and any(row[0] in asked for row in person.held):
        said = {"who": person.name, "when": words.when(spans[0].from_, zone), "until": words.when(spans[0].until, zone)}
        yield _("%(who)s has not rested by the roster from %(when)s until %(until)s: house rule.") % said


def _waiting(person: PersonRow, asked: set[str], at: Instant, zone: str) -> Iterator[str]:
    ends = [minute_up(until) for start, until in person.waits if minute_down(start) <= at < minute_up(until)]
    if ends and any(row[0] in asked for row in person.held):
        said = {"who": person.name, "until": words.when(max(ends), zone)}
        yield _("%(who)s waits after pressure until %(until)s.") % said


def _declared(person: PersonRow, asked: set[str], at: Instant, zone: str) -> Iterator[str]:
    span = person.not_fit(at)
    if span is None or not any(row[0] in asked for row in person.held):
        return
    said = {"who": person.name, "when": words.when(span.from_, zone), "until": words.when(span.until, zone)}
    yield _("%(who)s declared on %(when)s not to be fit, until %(until)s.") % said


def _lapsed(person: PersonRow, asked: set[str], at: Instant, zone: str) -> Iterator[str]:
    """Only what practice ended, not the certificate, and only where no other certificate of the kind counts."""
    lapsed: dict[str, tuple[Row, Recency]] = {}
    for row in person.held:
        practice = person.practice(row, zone) if row[0] in asked else None
        if practice is not None and not _over(row, practice, at, zone):
            lapsed.setdefault(row[0], (row, practice))
    counting = {row[0] for row in person.held if _counts(person, row, at, zone)}
    for kind, (row, practice) in lapsed.items():
        if kind not in counting:
            yield f"{person.name}: {lapsed_words(str(row[1]), practice)}"


def _over(row: Row, practice: Recency, at: Instant, zone: str) -> bool:
    """Return whether something else than practice is why a certificate does not count, or it counts."""
    expired = row[3] is not None and row[3] <= practice.good_through.isoformat()
    return expired or end_of_local_day(practice.good_through, 0, zone) > at


def _counts(person: PersonRow, row: Row, at: Instant, zone: str) -> bool:
    practice = person.practice(row, zone)
    last = row[3] or "9999-12-31"
    if practice is not None:
        last = min(last, practice.good_through.isoformat())
    return bool(last >= local(at, zone).date().isoformat())


def practice_words(name: str, practice: Recency) -> str:
    """Say until when a qualification counts by practice, and when it was last practised."""
    said = {"name": name, "day": words.day(practice.good_through), "days": practice.every_days}
    if practice.last_on is None:
        return _("%(name)s counts through %(day)s: no practice on record, %(days)d days from its issue") % said
    said["last"] = words.day(practice.last_on)
    return _("%(name)s counts through %(day)s: last practised %(last)s, lapses after %(days)d days without") % said


def lapsed_words(name: str, practice: Recency) -> str:
    """Say that a qualification ended for want of practice."""
    said = {"name": name, "day": words.day(practice.good_through), "days": practice.every_days}
    if practice.last_on is None:
        return _("%(name)s ended with %(day)s: no practice on record in %(days)d days from its issue.") % said
    said["last"] = words.day(practice.last_on)
    return _("%(name)s ended with %(day)s: last practised %(last)s, lapses after %(days)d days without.") % said


def lacks_words(lack: str, person: PersonRow | None, names: Names, at: Instant, zone: str) -> str:
    """Say what somebody lacks for a role."""
    if lack == "wait" and person is not None and person.not_fit(at) is not None:
        waits = any(minute_down(start) <= at for start, _until in person.waits)
        return _("a declaration of being fit, and the end of a wait") if waits else _("a declaration of being fit")
    if lack == "wait" and person is not None and names.records.tired.get(person.pk):
        waits = any(minute_down(start) <= at for start, _until in person.waits)
        return _("rest by the roster, and the end of a wait") if waits else _("rest by the roster")
    fixed = {"duty": _("duty"), "medical": _("medical fitness"), "wait": _("the end of a wait after pressure")}
    if lack in fixed:
        return fixed[lack]
    kind = lack.removeprefix("qualification ")
    if person is not None and list(_lapsed(person, {kind}, at, zone)):
        return _("practice as %(name)s") % {"name": names.qualification(kind)}
    return names.qualification(kind)


def role_words(role: Role, person: PersonRow | None, zone: str) -> str:
    """Name a role, and which of its qualifications ends by want of practice before its certificate does."""
    said = [role.role]
    for row in person.held if person is not None else ():
        practice = person.practice(row, zone) if person is not None and row[0] in role.qualifications else None
        if practice is not None and (row[3] is None or practice.good_through.isoformat() < row[3]):
            said.append(practice_words(str(row[1]), practice))
    return "; ".join(said)
