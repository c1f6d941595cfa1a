"""What a site could treat, for those outside: a dated page, and a public line where the house wants one.

Only states, tables and ends: no reason is told outside, since reasons may name people. Nothing about patients is read.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from django.core.cache import cache
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from facility import events, house
from facility.compute.instants import datetime_of, instant_of
from facility.compute.states import State
from facility.models import ContactKind
from facility.readiness import fill, sentences, services
from facility.readiness.page_rows import page_rows
from facility.readiness.words import when

if TYPE_CHECKING:
    from facility.compute.findings import Evaluation
    from facility.models import Site
    from facility.readiness.panels import CallFirst, Contact
    from facility.readiness.services import Answer

MARKS = {State.READY: "ready", State.READY_WITH_LIMITS: "limits", State.NOT_READY: "stop", State.NOT_KNOWN: "unknown"}
KEPT_S = 30
"""How long a public answer is kept for the next who asks: the page is open to anybody, the computation costs."""
SHOWN_FOR = timedelta(minutes=15)
"""How long a public state may be shown at most, before it is asked again."""


@dataclass(frozen=True, slots=True)
class Line:
    """One plan as told outside. ``until``: start before; ``ready_from``: with nobody acting; ``needs``: names only."""

    chamber: str
    plan: str
    party: str
    duration_min: int
    state: str
    mark: str
    until: datetime | None
    ready_from: datetime | None
    needs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Availability:
    """All plans of a site at one instant."""

    at: datetime
    lines: tuple[Line, ...]
    sentence: str
    call_first: CallFirst


def call_words() -> str:
    """Return what stands on everything told outside."""
    return _("Call first, do not drive. A physician decides where to go; a chamber that was ready may no longer be.")


def availability(site: Site, at: datetime) -> Availability:
    """Return what a site could treat at ``at``, with whom to call."""
    chambers = services.chambers_of(site)
    answers = list(services.answers(chambers, at))
    lines = tuple(_line(answer, plan) for answer in answers for plan in answer.facts.plans)
    confirm_days = int(house.values(site)["contact_confirm_days"])
    contacts = fill.call_first(site, page_rows(site, chambers), instant_of(at), confirm_days)
    return Availability(datetime_of(instant_of(at)), lines, _sentence(lines, several=len(answers) > 1), contacts)


def _sentence(lines: tuple[Line, ...], *, several: bool) -> str:
    return sentences.sentence((f"{line.chamber}: {line.plan}" if several else line.plan, line.state) for line in lines)


def _line(answer: Answer, plan: str) -> Line:
    found, row = answer.evaluations[plan], answer.names.plans[plan]
    names = answer.names.need_names
    return Line(
        answer.chamber.name, row.name, row.party, found.duration_min, str(found.state), MARKS[found.state],
        None if found.holds_until is None else datetime_of(found.holds_until),
        None if found.ready_from is None else datetime_of(found.ready_from),
        tuple(names.get(need, need) for need in _telling(found)),
    )  # fmt: skip


def _telling(found: Evaluation) -> tuple[str, ...]:
    return tuple(found.in_the_way or found.limiting)


@dataclass(frozen=True, slots=True)
class PublicLine:
    """One plan in public. ``state`` must not be shown after ``not_after``."""

    chamber: str
    plan: str
    party: str
    state: str
    mark: str
    not_after: datetime


@dataclass(frozen=True, slots=True)
class Public:
    """What anybody may read of a site. ``numbers``: of the emergency services only, never somebody's own."""

    at: datetime
    said: str
    lines: tuple[PublicLine, ...]
    numbers: tuple[Contact, ...]


def is_public(site: Site) -> bool:
    """Return whether the house shows its state in public."""
    return bool(house.values(site)["public_status"])


def public(site: Site) -> Public:
    """Return the public states of a site, computed within the last half minute."""
    key = f"public-status:{site.pk}:{get_language()}"
    found: Public | None = cache.get(key)
    if found is None:
        found = _public(site, events.now())
        cache.set(key, found, KEPT_S)
    return found


def _public(site: Site, at: datetime) -> Public:
    told = availability(site, at)
    latest = told.at + SHOWN_FOR
    lines = tuple(
        PublicLine(
            one.chamber,
            one.plan,
            one.party,
            one.state,
            one.mark,
            latest if one.until is None else min(one.until, latest),
        )
        for one in told.lines
    )
    known = _("As known on %(at)s: %(sentence)s") % {
        "at": when(instant_of(told.at), site.zone),
        "sentence": told.sentence,
    }
    emergency = str(ContactKind.EMERGENCY.label)
    numbers = tuple(one for one in told.call_first.contacts if one.role == emergency)
    return Public(told.at, f"{known} {call_words()}", lines, numbers)
