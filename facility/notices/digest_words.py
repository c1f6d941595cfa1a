"""The words of a digest: what is ready until when, what falls due, what is open, each with what to do next."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from django.utils.dateformat import format as date_words
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.compute.flags import Sort
from facility.compute.states import State
from facility.counted import counted
from facility.models import NoticeKind
from facility.notices.drafts import Draft
from facility.readiness.links import link
from facility.readiness.services import caution
from facility.readiness.words import when

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from datetime import date

    from facility.models import Site
    from facility.notices.open_lines import OpenLine
    from facility.notices.standing import Standing
    from facility.readiness.services import Answer

MOST = 40
"""Lines of one part; the rest is on the page."""


@dataclass(frozen=True, slots=True)
class Head:
    """What every digest of a site and day has in common. ``told_on``: the day by the clock of the person who is told."""

    site: Site
    day: date
    told_on: date
    state: tuple[str, ...]
    ready: int
    plans: int


def head(site: Site, day: date, found: Sequence[Answer]) -> Head:
    """Return the state of each plan of a site in words."""
    states = [one.state for answer in found for one in answer.evaluations.values()]
    ready = sum(state in (State.READY, State.READY_WITH_LIMITS) for state in states)
    lines = tuple(line for answer in found for line in _state(answer, site.zone))
    none = (_("No plan is in force: nothing is known of what could be treated."),)
    return Head(site, day, day, lines or none, ready, len(states))


def _state(answer: Answer, zone: str) -> Iterator[str]:
    named = answer.names.need_names
    for plan, one in answer.evaluations.items():
        row = answer.names.plans[plan]
        parts = [f"{answer.chamber.name}, {row.name}, {row.party}: {one.state}"]
        if one.holds_until is not None:
            parts.append(_("until %s") % when(one.holds_until, zone))
        if one.in_the_way:
            parts.append(_("in the way: %s") % ", ".join(named.get(need, need) for need in one.in_the_way))
        elif one.limiting:
            parts.append(_("limited by %s") % ", ".join(named.get(need, need) for need in one.limiting))
        yield ", ".join(parts)


def draft(head: Head, due: Sequence[Standing], opened: Sequence[OpenLine]) -> Draft:
    """Return the digest of somebody who is told of these things. One without any says that nothing needs them."""
    lines = due_lines(due, head.day)
    things: list[Standing | OpenLine] = [*lines, *opened]
    quiet = not things and head.ready == head.plans and head.plans > 0
    parts = ["\n".join(head.state)]
    parts += [_part(_("Due"), lines, head.site), _part(_("Open"), opened, head.site)]
    parts.append(_told_before(sum(not _in_full(one, head.day) for one in due), head.site))
    if quiet:
        parts.append(_("Nothing needs you today."))
    parts.append(_("You get this every day, so that silence is never taken for health."))
    parts.append(caution())
    return Draft(
        site_id=head.site.pk, kind=NoticeKind.DIGEST, group=f"digest:{head.site.pk}:{head.told_on.isoformat()}",
        subject=_subject(head, len(things), quiet=quiet), body="\n\n".join(part for part in parts if part),
        next_action=_action(head, things, quiet=quiet), link=link("readiness:now", head.site.key),
        things=(*(one.thing for one in due), *(one.thing for one in opened)),
    )  # fmt: skip


def due_lines(due: Sequence[Standing], today: date) -> list[Standing]:
    """Return what is told in full: what is past its day, and what was found since yesterday.

    Plans that one need of a chamber will stop are one line, with the first that is stopped.
    """
    found: dict[object, list[Standing]] = {}
    for one in due:
        if _in_full(one, today):
            _plan, chamber, *rest = one.thing.split(":", 3)
            key = (chamber, rest[-1]) if one.sort == Sort.PLAN else one.thing
            found.setdefault(key, []).append(one)
    return [_first(some) for some in found.values()]


def _in_full(one: Standing, today: date) -> bool:
    return one.is_pressing or one.raised_on >= today - timedelta(days=1)


def _first(some: Sequence[Standing]) -> Standing:
    first, more = min(some, key=lambda one: one.stops_at), len(some) - 1
    if not more:
        return first
    words = ngettext("%(said)s; and %(n)d more plan", "%(said)s; and %(n)d more plans", more)
    return replace(first, said=words % {"said": first.said, "n": more})


def _told_before(count: int, site: Site) -> str:
    if not count:
        return ""
    words = ngettext(
        "Told before, still to come: %(n)d thing. %(page)s", "Told before, still to come: %(n)d things. %(page)s", count
    )
    return words % {"n": count, "page": link("notices:flags", site.key)}


def _part(title: str, lines: Sequence[Standing | OpenLine], site: Site) -> str:
    if not lines:
        return ""
    said = [f"- {one.title}: {one.said}\n  {one.action} {one.url}" for one in lines[:MOST]]
    more = len(lines) - MOST
    if more > 0:
        words = ngettext("- and %(n)d more: %(page)s", "- and %(n)d more: %(page)s", more)
        said.append(words % {"n": more, "page": link("notices:flags", site.key)})
    return "\n".join([f"{title}:", *said])


def _subject(head: Head, count: int, *, quiet: bool) -> str:
    day = date_words(head.told_on, "D j M")
    if quiet:
        return _("%(day)s: nothing needs you today") % {"day": day}
    told = _("%(ready)d of %(plans)s ready") % {"ready": head.ready, "plans": counted(head.plans, "plan", "plans")}
    return f"{day}: {told}, {counted(count, 'thing to do', 'things to do')}"


def _action(head: Head, things: Iterable[Standing | OpenLine], *, quiet: bool) -> str:
    if quiet:
        return _("Nothing today.")
    if head.plans and not head.ready:
        return _("No table is ready: see on the page what would lift it.")
    first = next(iter(things), None)
    if first is None:
        return _("See on the page what would lift it.") if head.plans else _("Put a plan in force, with its needs.")
    return f"{first.title}: {first.action}"
