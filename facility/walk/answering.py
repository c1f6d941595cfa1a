"""Answering a step and correcting a slip. One answer costs few queries: it is given 60 times a day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext_lazy as _

from facility import events, house, services
from facility.compute.sheets import Typed, Verdict, judge
from facility.events import What
from facility.models import Answer, Check, CheckState, Event, Person, Site
from facility.walk.banks import read_bank
from facility.walk.reference import plausible_ranges
from facility.walk.services import locked, refuse_closed, step_of, update

if TYPE_CHECKING:
    from datetime import datetime
    from uuid import UUID

    from facility.events import Actor
    from facility.models import Evidence

LONGEST_AGO = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class Given:
    """One answer as it came from a person's device. ``seconds_ago``: how long before sending it was given."""

    client_id: UUID
    step: str
    typed: Typed
    note: str = ""
    second: int | None = None
    photo: Evidence | None = None
    seconds_ago: int = 0
    happened_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Stored:
    """What came of an answer: its row, the number of its entry in the log, and how it was judged."""

    answer: Answer
    entry: int
    check: Check
    verdict: Verdict | None = None
    repeat: bool = False
    clock_suspect: bool = False


@transaction.atomic
def answer(check_pk: int, given: Given, *, site: Site, by: Actor) -> Stored:
    """Store one answer and its event; the same ``client_id`` again returns what was stored.

    A reading taken before the signature but sent after it takes the check back to unfinished,
    so that a signature never hides what somebody found.
    Errors: ValidationError (AlreadySignedError if it was signed before this was read);
    SheetError and ImplausibleError as judge().
    """
    check = locked(check_pk, site)
    repeat = Answer.objects.filter(client_id=given.client_id).first()
    if repeat is not None:
        return _repeat(check, repeat, given)
    at = given.happened_at or events.now() - min(timedelta(seconds=max(given.seconds_ago, 0)), LONGEST_AGO)
    refuse_closed(check, at)
    step = step_of(check.version, given.step)
    second = _second_person(given.second, site, by)
    verdict = judge(step, _with_second(given.typed, second), plausible_ranges())
    row = _row(check, given, verdict, second, at)
    _mark_late(row, site, asked=bool(given.seconds_ago or given.happened_at))
    if check.state == CheckState.SIGNED:
        _reopen(check, by=by)
    event = store_row(row, site, by=by)
    # where the walk stands is a pointer, told by the answer's own event
    Check.objects.filter(pk=check.pk).update(here=step.key, left_off_at=None)
    check.here, check.left_off_at = step.key, None
    if step.bank and verdict.value:
        read_bank(row, step.bank, site, by=by)
    return Stored(row, event.seq, check, verdict, clock_suspect=event.clock_suspect)


def _repeat(check: Check, stored: Answer, given: Given) -> Stored:
    same = stored.check_done_id == check.pk and stored.step == given.step
    if same and given.typed.value:
        same = stored.value == given.typed.value.strip().replace(",", ".")
    elif same:
        same = stored.choice == given.typed.choice and given.typed.outcome in ("", stored.outcome)
    if not same:
        raise ValidationError(
            _("This entry was stored before as “%(stored)s”. Enter the new one once more."),
            code="repeat", params={"stored": f"{stored.step}: {stored.value or stored.get_outcome_display()}"},
        )  # fmt: skip
    event = Event.objects.filter(subject_kind="facility.answer", subject_id=stored.pk).order_by("seq").first()
    return Stored(stored, event.seq if event else 0, check, repeat=True)


def _second_person(pk: int | None, site: Site, by: Actor) -> str:
    if pk is None:
        return ""
    person = Person.objects.filter(pk=pk, site=site, retired_at=None).first()
    if person is None:
        raise ValidationError(_("The second person is not of this site. Choose one from the list."), code="second")
    if person.name == by.name or (by.user_id is not None and person.user_id == by.user_id):
        raise ValidationError(
            _("The second person must be another one than %(who)s."), code="second", params={"who": by.name}
        )
    return person.name


def _with_second(typed: Typed, second: str) -> Typed:
    return Typed(typed.outcome, typed.value, typed.choice, typed.unit, second, typed.sure)


def _row(check: Check, given: Given, verdict: Verdict, second: str, at: datetime) -> Answer:
    return Answer(
        check_done=check,
        client_id=given.client_id,
        step=given.step,
        outcome=verdict.outcome.value,
        value=verdict.value,
        unit=verdict.unit,
        choice=verdict.choice,
        note=given.note.strip(),
        second_person=second,
        photo=given.photo,
        occurred_at=at,
    )


def _mark_late(row: Answer, site: Site, *, asked: bool) -> None:
    if asked and row.occurred_at is not None:
        row.late = events.is_late(row.occurred_at, events.now(), int(house.values(site)["late_entry_min"]))


def store_row(row: Answer, site: Site, *, by: Actor) -> Event:
    """Save the row and its event with as few queries as that takes: what it points to was just read."""
    row.recorded_at, row.recorded_by = events.now(), by.name
    row.full_clean(
        exclude=["recorded_by", "check_done", "photo", "client_id", "supersedes"],
        validate_unique=False,
        validate_constraints=False,
    )
    row.save(force_insert=True)
    what = What("answered", after=services.plain(row), occurred_at=row.occurred_at, late=row.late, site_key=site.key)
    return events.record(row, what, by=by)


def _reopen(check: Check, *, by: Actor) -> None:
    update(
        check, "check reopened", by=by, reason="a reading taken before the signature was sent after it",
        state=CheckState.OPEN, signed_at=None, signed_by="", result="",
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Slip:
    """The right value of an answer in which somebody made a slip, and why."""

    typed: Typed
    reason: str
    client_id: UUID
    second: int | None = None


@transaction.atomic
def correct(answer_pk: int, slip: Slip, *, site: Site, by: Actor) -> Stored:
    """Put a new answer in the place of one with a slip; the old value stays, struck through.

    Errors: ValidationError, also if the check is no longer open or the answer was corrected before.
    """
    found = (
        Answer.objects.select_related("check_done").filter(pk=answer_pk, check_done__sheet__chamber__site=site).first()
    )
    if found is None:
        raise ValidationError(_("This site has no such answer. Load the page again."), code="answer")
    check = locked(found.check_done_id, site)
    repeat = Answer.objects.filter(client_id=slip.client_id).first()
    given = Given(slip.client_id, found.step, slip.typed, found.note, slip.second)
    if repeat is not None:
        return _repeat(check, repeat, given)
    refuse_closed(check, events.now())
    step = step_of(check.version, found.step)
    second = _second_person(slip.second, site, by) or found.second_person
    verdict = judge(step, _with_second(slip.typed, second), plausible_ranges())
    row = _row(check, given, verdict, second, found.occurred_at or found.recorded_at)
    row.photo_id, row.late = found.photo_id, found.late
    services.supersede(found, row, by=by, reason=slip.reason)
    entry = Event.objects.filter(subject_kind="facility.answer", subject_id=row.pk).values_list("seq", flat=True).get()
    if step.bank:
        read_bank(row, step.bank, site, by=by, instead_of=found)
    return Stored(row, entry, check, verdict)
