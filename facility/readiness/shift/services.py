"""What a hand-over tells, how it is given, and how it is received."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services
from facility.event_words import acted, who
from facility.models import Event, HandOver
from facility.readiness.fill import open_things, unsigned_checks
from facility.readiness.page_rows import page_rows
from facility.readiness.services import Answer, answer_lines, answers, caution, chambers_of
from facility.readiness.words import when
from treatments.models import Run

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from facility.events import Actor
    from facility.models import Site

LONGEST_BACK = timedelta(days=7)
MOST_CHANGES = 60
MOST_OPEN = 100


@dataclass(frozen=True, slots=True)
class Said:
    """What is written by hand: what to expect, and what to do if it happens."""

    expect: str
    if_then: str


def prepare(site: Site, at: datetime) -> dict[str, Any]:
    """Return what the record tells the next shift: state of each plan, what is open, what changed, whether a run is on."""
    chambers = chambers_of(site)
    found = list(answers(chambers, at))
    beside = page_rows(site, chambers)
    opened = [*unsigned_checks(site, beside), *open_things(site, beside, found)]
    runs = Run.objects.filter(chamber__site=site, ended_at=None, retired_at=None, started_at__isnull=False)
    return {
        "state": [line for answer in found for line in _state(answer, site.zone)],
        "open": [_one(thing.number, thing.title, thing.sub) for thing in opened[:MOST_OPEN]],
        "runs": [str(run) for run in runs],
        "since": _since(site, at).isoformat(),
        "changed": _changes(site, _since(site, at)),
        "caution": caution(),
    }  # fmt: skip


def _state(answer: Answer, zone: str) -> Iterator[str]:
    """Yield one line for each plan, its instants by the clock of the site."""
    yield f"{answer.chamber.name}, {when(answer.at, zone)}"
    if not answer.facts.plans:
        yield from answer_lines(answer)
    named = answer.names.need_names
    for plan, evaluation in answer.evaluations.items():
        parts = [f"{answer.names.plans[plan].name}, {answer.names.plans[plan].party}: {evaluation.state}"]
        if evaluation.holds_until is not None:
            parts.append(_("until %s") % when(evaluation.holds_until, zone))
        if evaluation.in_the_way:
            parts.append(_("in the way: %s") % ", ".join(named.get(need, need) for need in evaluation.in_the_way))
        elif evaluation.limiting:
            parts.append(_("limited by %s") % ", ".join(named.get(need, need) for need in evaluation.limiting))
        yield ", ".join(parts)


def _one(number: str, title: str, sub: str) -> str:
    return " ".join(part for part in (number, title) if part) + (f": {sub}" if sub else "")


def _since(site: Site, at: datetime) -> datetime:
    """Return when the last hand-over was received; at most a week back."""
    last = (
        HandOver.objects.filter(site=site, retired_at=None, received_at__isnull=False).order_by("-received_at").first()
    )
    earliest = at - LONGEST_BACK
    return max(last.received_at, earliest) if last is not None and last.received_at else at - timedelta(hours=12)


def _changes(site: Site, since: datetime) -> list[str]:
    """Return what was recorded since, newest first: counted by what was done and by whom."""
    rows = Event.objects.filter(site_id_text=site.key, recorded_at__gt=since)
    rows = rows.exclude(subject_kind=HandOver._meta.label_lower)
    counted: dict[tuple[str, str], int] = {}
    for action, actor in rows.values_list("action", "actor").iterator():
        counted[action, actor] = counted.get((action, actor), 0) + 1
    ordered = sorted(counted.items(), key=lambda pair: (-pair[1], pair[0]))[:MOST_CHANGES]
    return [
        _("%(action)s, %(n)d times, %(who)s") % {"action": acted(action), "n": n, "who": who(actor)}
        if n > 1
        else f"{acted(action)}, {who(actor)}"
        for (action, actor), n in ordered
    ]


def give(site: Site, said: Said, *, by: Actor) -> HandOver:
    """Store a hand-over as the record stands now. It is open until somebody else receives it.

    Errors: ValidationError if one is open already.
    """
    now = events.now()
    if open_of(site) is not None:
        raise ValidationError(_("A hand-over is open already. Let it be received, or take it back."), code="open")
    row = HandOver(
        site=site, given_at=now, given_by=by.name, given_user=by.user_id, prepared=prepare(site, now),
        expect=said.expect.strip(), if_then=said.if_then.strip(),
    )  # fmt: skip
    return services.add(row, by=by, action="handed over")


def open_of(site: Site) -> HandOver | None:
    """Return the hand-over that nobody has received yet, if any."""
    return HandOver.objects.filter(site=site, retired_at=None, received_at=None).order_by("-given_at").first()


@transaction.atomic
def receive(row: HandOver, read_back: str, *, by: Actor, shown_version: int) -> HandOver:
    """End a hand-over: the receiver says back in their own words what matters.

    Errors: ValidationError if it was received already, if the giver receives it, or nothing is said back.
    """
    if row.received_at is not None:
        raise ValidationError(_("%(who)s received it already.") % {"who": row.received_by}, code="received")
    if by.user_id is not None and by.user_id == row.given_user:
        raise ValidationError(_("You gave it yourself. Another person receives it."), code="own")
    if not read_back.strip():
        raise ValidationError({"read_back": _("Say back in your own words what you take over.")})
    row.received_at, row.received_by, row.received_user = events.now(), by.name, by.user_id
    row.read_back = read_back.strip()
    return services.change(row, by=by, reason=_("Received."), shown_version=shown_version, action="hand-over received")
