"""A call-out: its clock, who was asked, who comes, and what became of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services
from facility.jobs.queue import Kind, enqueue
from facility.models import Chamber
from treatments.models import CallAnswer, CallOut, CallPerson, Run

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from facility.events import Actor
    from facility.models import Person
    from treatments.models import Plan


@transaction.atomic
def begin(chamber: Chamber, people: Iterable[Person], *, by: Actor, plan: Plan | None = None) -> CallOut:
    """Start the clock of a call and ask these people. A call that is on already is returned as it is.

    A job tells those who have an account; it is stored with the call.

    Errors: ValidationError if a field refuses it.
    """
    locked = Chamber.objects.select_for_update().get(pk=chamber.pk)
    on = CallOut.objects.filter(chamber=locked, ended_at=None, retired_at=None).first()
    if on is not None:
        return on
    now = events.now()
    call = services.add(
        CallOut(chamber=locked, began_at=now, began_by=by.name, plan=plan), by=by, action="call-out begun"
    )
    for person in people:
        _ask(call, person, by=by)
    _let_tell(call)
    return call


@transaction.atomic
def ask(call: CallOut, person: Person, *, by: Actor) -> CallPerson:
    """Record that one more person was asked; a job tells them if they have an account.

    Errors: ValidationError if the call is over or the person was asked already.
    """
    _refuse_over(call)
    asked = _ask(call, person, by=by)
    _let_tell(call)
    return asked


def _let_tell(call: CallOut) -> None:
    enqueue(Kind.TELL_CALL_OUT, {"call": call.pk})


def _ask(call: CallOut, person: Person, *, by: Actor) -> CallPerson:
    return services.add(CallPerson(call=call, person=person, asked_at=events.now()), by=by, action="asked to come")


def answer(asked: CallPerson, said: str, *, by: Actor, expected_at: datetime | None = None) -> CallPerson:
    """Record what somebody answered; the last answer counts, the log keeps the others.

    Errors: ValidationError for an answer that is none; ChangedMeanwhileError if another was recorded meanwhile.
    """
    _refuse_over(asked.call)
    if said not in CallAnswer.values:
        known = ", ".join(CallAnswer.values)
        raise ValidationError(_("“%(said)s” is no answer. Give one of: %(known)s.") % {"said": said, "known": known})
    asked.answer, asked.answered_at = said, events.now()
    asked.expected_at = expected_at if said == CallAnswer.COMING else None
    return services.change(
        asked, by=by, reason=str(CallAnswer(said).label), shown_version=asked.row_version, action="answered the call"
    )


def decide(call: CallOut, plan: Plan | None, *, by: Actor, shown_version: int) -> CallOut:
    """Record for which table the call is, or that it is not decided.

    Errors: ValidationError if the call is over or the plan is of another chamber.
    """
    _refuse_over(call)
    if plan is not None and plan.chamber_id != call.chamber_id:
        raise ValidationError({"plan": _("This plan is of another chamber. Choose one of this chamber.")})
    call.plan = plan
    reason = str(plan) if plan is not None else _("Not decided.")
    return services.change(call, by=by, reason=reason, shown_version=shown_version, action="table decided")


def over(call: CallOut, outcome: str, *, by: Actor, shown_version: int, run: Run | None = None) -> CallOut:
    """End a call: a run began, or it needs none. Without ``run`` it is the first that left surface in the chamber since.

    Errors: ValidationError if it is over already or nobody says how it ended.
    """
    _refuse_over(call)
    if not outcome.strip():
        raise ValidationError({"outcome": _("Say how the call ended: it is kept with it.")})
    call.ended_at, call.outcome, call.run = events.now(), outcome.strip(), run or _run_of(call)
    return services.change(call, by=by, reason=outcome, shown_version=shown_version, action="call-out over")


def _run_of(call: CallOut) -> Run | None:
    """Return the first run that left surface in the chamber after the call began, if any."""
    runs = Run.objects.filter(chamber=call.chamber, retired_at=None, started_at__gte=call.began_at)
    return runs.order_by("started_at", "pk").first()


def _refuse_over(call: CallOut) -> None:
    if call.ended_at is not None:
        raise ValidationError(_("This call is over. Begin a new one."), code="over")


def on_now(chamber: Chamber) -> CallOut | None:
    """Return the call that is on in a chamber, if any."""
    return CallOut.objects.filter(chamber=chamber, ended_at=None, retired_at=None).first()
