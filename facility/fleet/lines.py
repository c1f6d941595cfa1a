"""The rows of the organisation's page in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.compute.facts import CREW
from facility.compute.fleet import CAN_START, Old
from facility.compute.instants import instant_of
from facility.compute.states import State
from facility.fleet.board import MARKS
from facility.readiness.shut_downs.rows import SHUT_DOWN
from facility.readiness.times import of_end
from facility.readiness.words import day, listed, when
from treatments.readiness import IN_USE, IN_USE_TOO

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from facility.fleet.board import Standing
    from facility.fleet.states import PlanState

MARK_OF = {state: mark for mark, state in MARKS.items()}


@dataclass(frozen=True, slots=True)
class Line:
    """One row: where, the word with its mark, until when it may be shown, and what is said below."""

    url: str
    site: str
    site_key: str
    chamber: str
    organisation: str
    zone: str
    state: str
    mark: str
    figure: str
    not_after: datetime
    said: tuple[str, ...]
    phone: str = ""


def line_of(row: Standing) -> Line:
    """Return one row in words."""
    place = row.place
    said = _of_plan(row.plan, row) if row.plan is not None else (*_of_plans(row), *_beside(row))
    return Line(
        url=reverse("readiness:now_chamber", args=[place.site_key, place.key]),
        site=place.site_name,
        site_key=place.site_key,
        chamber=place.name,
        organisation=place.organisation,
        zone=place.zone,
        state=str(row.state),
        mark=MARK_OF[row.state],
        figure=_figure(row),
        not_after=row.not_after,
        said=tuple(one for one in said if one),
    )


def _figure(row: Standing) -> str:
    """Say until when the word holds."""
    if row.state not in CAN_START:
        return ""
    if row.holds_until is None:
        return _("no end on record")
    return _("until %(when)s") % {"when": of_end(row.holds_until, row.place.zone)}


def _of_plan(plan: PlanState, row: Standing) -> tuple[str, ...]:
    """Say of one plan what limits it or stands in the way."""
    head = f"{plan.name}, {plan.party}" if plan.party else plan.name
    if row.old is not None and row.live is None:
        return head, _why_old(row.old)
    return head, _need(plan)


def _need(plan: PlanState) -> str:
    need = need_words(plan)
    if not need:
        return ""
    if plan.state == State.READY:
        return _("First to end: %(need)s") % {"need": need}
    if plan.state == State.READY_WITH_LIMITS:
        return _("Limited by: %(need)s") % {"need": need}
    lift = " " + _("Can be lifted by: %s.") % plan.lift if plan.lift else ""
    return _("In the way: %(need)s.") % {"need": need} + lift


def need_words(plan: PlanState) -> str:
    """Return what a need is called; those that every chamber has are called in the reader's language."""
    common = {
        CREW: _("Crew"), IN_USE: _("Chamber free"), IN_USE_TOO: _("Chamber free"), SHUT_DOWN: _("Not shut down"),
    }  # fmt: skip
    return plan.called or common.get(plan.need, plan.need)


def _of_plans(row: Standing) -> Iterator[str]:
    """Say how many tables can start, what is in the way of the others, what limits, what ends first."""
    if row.old is not None and row.live is None:
        yield _last_known(row)
        yield _why_old(row.old)
        return
    plans = row.plans()
    if not plans:
        yield _("No plan is in force: nothing is known of what could be treated.")
        return
    can = [one for one in plans if one.state in CAN_START]
    said = ngettext("%(can)d of %(all)d table can start.", "%(can)d of %(all)d tables can start.", len(plans))
    yield said % {"can": len(can), "all": len(plans)}
    cannot = [f"{one.name}: {need_words(one)}" for one in plans if one.state not in CAN_START]
    limits = [f"{one.name}: {need_words(one)}" for one in plans if one.state == State.READY_WITH_LIMITS]
    if cannot:
        yield _("In the way: %(some)s.") % {"some": listed(cannot)}
    if limits:
        yield _("Limited by: %(some)s.") % {"some": listed(limits)}
    if not cannot and not limits:
        first = min((one for one in plans if one.holds_until), key=lambda one: str(one.holds_until), default=None)
        yield _need(first) if first else ""


def _last_known(row: Standing) -> str:
    kept = row.place.kept
    if kept is None:
        return ""
    said = {"state": _(row.place.state), "when": when(instant_of(kept.known_at), row.place.zone)}
    return _("Last known: %(state)s, %(when)s.") % said


def _why_old(old: Old) -> str:
    """Say why nothing is known, and what to do."""
    words = {
        Old.NEVER: _("Not reckoned yet."),
        Old.CLOCK: _("It is of later than the clock says: set the clock of the box."),
        Old.LOG: _("It is of another log: somebody put an older database back."),
        Old.AGE: _("That is too long ago."),
        Old.ENDED: _("It held until then only."),
        Old.CHANGED: _("Something was recorded since."),
    }
    return words[old] + " " + _("Open the site for what is known now.")


def _beside(row: Standing) -> Iterator[str]:
    """Say which run is on, what lapses next, what is past its day, and as of when all this is."""
    if row.known is None:
        return
    found = row.live or row.place
    if found.in_use_by:
        yield _("Run %(number)s is under way.") % {"number": found.in_use_by}
    if found.lapses_on:
        said = {"what": found.lapses_what, "day": day(found.lapses_on)}
        yield _("Next to lapse: %(what)s, last good day %(day)s.") % said
    if found.overdue:
        text = ngettext(
            "%(n)d thing is past its day or never recorded.", "%(n)d things are past their day or never recorded.",
            found.overdue,
        )  # fmt: skip
        yield text % {"n": found.overdue}
    yield _("As known at %(when)s.") % {"when": when(instant_of(row.known.known_at), row.place.zone)}
