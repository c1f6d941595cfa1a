"""Keying in a check that was done on paper: one transaction from begun to signed, marked late."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, house
from facility.compute.sheets import SheetError, Typed, judge
from facility.models import Answer, Check, Site
from facility.walk.answering import store_row
from facility.walk.banks import read_bank
from facility.walk.reference import plausible_ranges
from facility.walk.services import add_check, steps_of
from facility.walk.signing import MEANING_PAPER, Signing, sign_as_keyed_in
from facility.walk.words import refusal

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from facility.compute.sheets import Step, Verdict
    from facility.events import Actor
    from facility.models import Evidence, SheetVersion, User


@dataclass(frozen=True, slots=True)
class Written:
    """What stands on the paper for one step."""

    typed: Typed
    note: str = ""


@dataclass(frozen=True, slots=True)
class Paper:
    """A filled-in paper sheet. A step without an entry stays open. ``client_id`` makes a repeat harmless."""

    version: SheetVersion
    done_at: datetime
    done_by: str
    written: Mapping[str, Written]
    client_id: uuid.UUID
    scan: Evidence | None = None


class PaperError(ValidationError):
    """Steps of a paper that could not be taken, with a sentence for each."""

    def __init__(self, by_step: dict[str, str]) -> None:
        super().__init__(_("Some steps need another look. Nothing is stored yet."), code="paper")
        self.by_step = by_step


@transaction.atomic
def key_in(paper: Paper, user: User, *, by: Actor) -> tuple[Check, int]:
    """Store and sign a paper check; it counts from when it was done, never from when it was keyed in.

    Errors: PaperError naming each step not taken; ValidationError for a time in the future.
    """
    site = Site.objects.select_for_update().get(pk=paper.version.sheet.chamber.site_id)
    steps = [step for step in steps_of(paper.version) if step.key in paper.written]
    before = (
        Answer.objects.filter(client_id__in=[_row_id(paper, step) for step in steps])
        .select_related("check_done")
        .first()
    )
    if before is not None:
        return before.check_done, 0
    _refuse_head(paper)
    verdicts = judged(steps, paper.written)
    now = events.now()
    check = add_check(
        paper.version.sheet,
        paper.version,
        at=paper.done_at,
        by=by,
        started_by=paper.done_by,
        on_paper=True,
        scan=paper.scan,
    )
    late = events.is_late(paper.done_at, now, int(house.values(site)["late_entry_min"]))
    for step in steps:
        row = _row(paper, check, step, verdicts[step.key])
        row.late = late
        store_row(row, site, by=by)
        if step.bank and row.value:
            read_bank(row, step.bank, site, by=by)
    return sign_as_keyed_in(check, Signing(user, _meaning(paper), paper.done_at), by=by)


def judged(steps: list[Step], written: Mapping[str, Written]) -> dict[str, Verdict]:
    """Return the verdict of each written step.

    Errors: PaperError with every step that was not taken.
    """
    verdicts: dict[str, Verdict] = {}
    refused: dict[str, str] = {}
    for step in steps:
        try:
            verdicts[step.key] = judge(step, written[step.key].typed, plausible_ranges())
        except SheetError as error:
            refused[step.key] = refusal(error)
    if refused:
        raise PaperError(refused)
    return verdicts


def _refuse_head(paper: Paper) -> None:
    if paper.done_at > events.now():
        raise ValidationError(
            _("The paper says it was done in the future. Type the date and time that stand on it."), code="future"
        )
    if not paper.done_by.strip():
        raise ValidationError(_("Write who did the check, as on the paper."), code="who")
    if not paper.written:
        raise ValidationError(_("No step has an entry. Key in what stands on the paper."), code="empty")


def _row_id(paper: Paper, step: Step) -> uuid.UUID:
    return uuid.uuid5(paper.client_id, step.key)


def _row(paper: Paper, check: Check, step: Step, verdict: Verdict) -> Answer:
    entry = paper.written[step.key]
    return Answer(
        check_done=check, client_id=_row_id(paper, step), step=step.key, outcome=verdict.outcome.value,
        value=verdict.value, unit=verdict.unit, choice=verdict.choice, note=entry.note.strip(),
        second_person=entry.typed.second_person, occurred_at=paper.done_at,
    )  # fmt: skip


def _meaning(paper: Paper) -> str:
    return str(MEANING_PAPER) % {"who": paper.done_by}
