"""The words of a notice that readiness changed or will: names of tables and needs, no texts of runs, no persons."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility import events
from facility.compute.instants import instant_of
from facility.compute.states import State
from facility.events import What
from facility.models import NoticeKind
from facility.notices.drafts import Draft
from facility.readiness.links import link
from facility.readiness.services import caution
from facility.readiness.shut_downs.rows import SHUT_DOWN
from facility.readiness.words import when

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import datetime

    from facility.compute.flags import Ahead
    from facility.compute.notices import Change
    from facility.models import Site
    from facility.readiness.services import Answer

BY = events.system("watch_readiness")


@dataclass(frozen=True, slots=True)
class Line:
    """One plan in words. ``pressing``: it can no longer start, and nobody planned that."""

    thing: str
    title: str
    said: str
    action: str
    url: str
    pressing: bool = False


@dataclass(frozen=True, slots=True)
class Moment:
    """When it is told, and within how many minutes somebody should acknowledge; 0: nobody need."""

    at: datetime
    answer_min: int


def changed(answer: Answer, change: Change, site: Site, left_out: Collection[str]) -> Line:
    """Say what one plan was and is, what stands in its way or until when it holds, and what to do next."""
    found, row = answer.evaluations[change.plan], answer.names.plans[change.plan]
    title = f"{answer.chamber.name}, {row.name}: {change.after}"
    way = [need for need in found.in_the_way if need not in left_out]
    parts = [_("was %(before)s") % {"before": change.before}]
    if way:
        parts.append(_("in the way: %s") % _named(answer, way))
    if change.after in (State.READY, State.READY_WITH_LIMITS) and found.holds_until is not None:
        parts.append(_("until %s") % when(found.holds_until, site.zone))
    pressing = change.is_worse and change.after == State.NOT_READY and set(way) != {SHUT_DOWN}
    return Line(
        thing=f"plan:{answer.chamber.pk}:{change.plan}", title=title, said=", ".join(parts),
        action=_action(change, _named(answer, way)), pressing=pressing,
        url=link("readiness:why", site.key, answer.chamber.key, change.plan),
    )  # fmt: skip


def _action(change: Change, way: str) -> str:
    if not change.is_worse:
        return _("Tell whoever waits for it, and look at the page before a run.")
    if way:
        return _("See on the page what would lift it: %s.") % way
    return _("See on the page what limits it.")


def coming(answer: Answer, ahead: Ahead, site: Site) -> Line:
    """Say from when a plan will not be ready, and what will stop it."""
    row = answer.names.plans[ahead.plan]
    need = _named(answer, [ahead.need])
    said = _("not ready from %(when)s, stopped by %(need)s") % {"when": when(ahead.from_, site.zone), "need": need}
    return Line(
        thing=f"plan:{answer.chamber.pk}:{ahead.plan}:{ahead.need}", title=f"{answer.chamber.name}, {row.name}",
        said=said, action=_("See what can be renewed, ordered or moved before then: %s.") % need,
        url=link("readiness:ahead_chamber", site.key, answer.chamber.key),
    )  # fmt: skip


def _named(answer: Answer, needs: Collection[str]) -> str:
    return ", ".join(answer.names.need_names.get(need, need) for need in needs)


@transaction.atomic
def drafts(site: Site, changes: Sequence[Line], ahead: Sequence[Line], moment: Moment) -> list[Draft]:
    """Return at most one notice of what changed and one of what is ahead, each with its event."""
    made = []
    if changes:
        lines = sorted(changes, key=lambda line: not line.pressing)
        subject = _more(lines[0].title, len(lines) - 1)
        made.append(_draft(site, NoticeKind.READINESS, subject, lines, moment))
    if ahead:
        first = _("%(plan)s will not be ready") % {"plan": ahead[0].title}
        made.append(_draft(site, NoticeKind.AHEAD, _more(first, len(ahead) - 1), ahead, moment))
    return made


def _more(first: str, more: int) -> str:
    if not more:
        return first
    return ngettext("%(first)s, and %(n)d more", "%(first)s, and %(n)d more", more) % {"first": first, "n": more}


def _draft(site: Site, kind: NoticeKind, subject: str, lines: Sequence[Line], moment: Moment) -> Draft:
    after = {line.thing: f"{line.title}, {line.said}" for line in lines}
    event = events.record(site, What(f"told:{kind}", after=after, site_key=site.key), by=BY)
    body = [f"{line.title}, {line.said}\n  {line.action} {line.url}" for line in lines]
    asked = moment.answer_min and any(line.pressing for line in lines)
    stamp = _("As of %s.") % when(instant_of(moment.at), site.zone)
    return Draft(
        site_id=site.pk, kind=kind, group=f"{kind}:{event.seq}", subject=subject,
        body="\n".join([stamp, *body, "", caution()]), next_action=lines[0].action,
        link=lines[0].url if len(lines) == 1 else link("readiness:now", site.key),
        things=tuple(line.thing for line in lines),
        answer_by=moment.at + timedelta(minutes=moment.answer_min) if asked else None,
    )  # fmt: skip
