"""Signing a check: everything is reckoned again inside the transaction and compared with what was shown."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from facility import events, services
from facility.compute.sheets import Outcome, Result, result_of
from facility.models import Answer, Check, CheckState, Signature, User
from facility.trust import checkpoints
from facility.walk.services import AlreadySignedError, locked, refuse_closed, steps_of, update
from maintenance.models import Defect

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from facility.compute.sheets import Step
    from facility.events import Actor
    from facility.models import Site

LABEL = b"deepstead check 1\0"
MEANING = _("I walked this check or looked through all of its answers; it says what I found.")
MEANING_PAPER = _("Keyed in from paper as written there; done by %(who)s.")


class ChangedSinceShownError(ValidationError):
    """The check is no longer what the person saw when giving the password."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "Not signed: the check changed after it was shown to you. What is new is marked below; look and sign again."
            ),
            code="changed",
        )


@dataclass(frozen=True, slots=True)
class Shown:
    """What a page showed: digest of the content, of content and open defects, and the answers' numbers."""

    content: str
    page: str
    answers: tuple[int, ...]


def answers_of(check: Check) -> list[Answer]:
    """Return every answer of a check, corrected ones too, in the order in which they were stored."""
    return list(Answer.objects.filter(check_done=check).select_related("photo").order_by("pk"))


def content_digest(check: Check, answers: Iterable[Answer]) -> str:
    """Return the SHA-256 over the exact text of a check's steps and answers, as hexadecimal digits."""
    lines = [
        [
            answer.step, answer.outcome, answer.value, answer.unit, answer.choice, answer.note, answer.second_person,
            answer.photo.sha256 if answer.photo else "", answer.recorded_by, str(answer.client_id),
            "counts" if answer.is_current else f"corrected: {answer.retired_reason}",
        ]
        for answer in answers
    ]  # fmt: skip
    content = {
        "check": check.number, "sheet": check.sheet.key, "version": check.version.version,
        "steps": check.version.steps, "answers": lines,
    }  # fmt: skip
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(LABEL + text.encode()).hexdigest()


def open_defects(site: Site, steps: Iterable[Step]) -> list[Defect]:
    """Return the defects not yet returned to service on what a sheet's steps name, by tag number."""
    tags = {step.tag for step in steps if step.tag}
    banks = {step.bank for step in steps if step.bank}
    if not tags and not banks:
        return []
    of_steps = Q(equipment__tag__in=tags) | Q(bank__key__in=banks)
    rows = Defect.objects.filter(of_steps, site=site, returned_at=None, retired_at=None)
    return list(rows.select_related("equipment", "bank").order_by("number"))


def shown(check: Check, answers: Sequence[Answer], defects: Iterable[Defect]) -> Shown:
    """Return what a page with these answers and defects shows, for the comparison at signing."""
    content = content_digest(check, answers)
    tags = ";".join(f"{defect.number}:{defect.effect}:{defect.pk}" for defect in defects)
    page = hashlib.sha256(f"{content}\0{tags}".encode()).hexdigest()
    return Shown(content, page, tuple(answer.pk for answer in answers if answer.is_current))


def result_now(steps: Sequence[Step], answers: Iterable[Answer]) -> Result:
    """Return what the answers that count say together."""
    return result_of(steps, [(answer.step, Outcome(answer.outcome)) for answer in answers if answer.is_current])


@dataclass(frozen=True, slots=True)
class Signing:
    """Who signs, at what time the check counts, and with which meaning."""

    user: User
    meaning: str
    at: datetime | None = None


@transaction.atomic
def sign(check_pk: int, shown_page: str, signing: Signing, *, site: Site, by: Actor) -> tuple[Check, int]:
    """Sign a check as it was shown; return it and the number of its entry in the log.

    Errors: AlreadySignedError for the second of two; ChangedSinceShownError if anything
    differs from what was shown; ValidationError for a check given up. A failed check can be signed.
    """
    check = locked(check_pk, site)
    if check.state == CheckState.SIGNED:
        raise AlreadySignedError(check)
    refuse_closed(check, events.now())
    steps = steps_of(check.version)
    answers = answers_of(check)
    now = shown(check, answers, open_defects(site, steps))
    if now.page != shown_page:
        raise ChangedSinceShownError
    return _signed(check, result_now(steps, answers), now, signing, by=by)


def _signed(check: Check, result: Result, now: Shown, signing: Signing, *, by: Actor) -> tuple[Check, int]:
    signature = Signature(
        check_done=check, user=signing.user, name=by.name, meaning=signing.meaning, shown_sha256=now.content,
        occurred_at=signing.at,
    )  # fmt: skip
    services.add(signature, by=by, action="signature given", late=signing.at is not None)
    event = update(
        check, "check signed", by=by, state=CheckState.SIGNED, signed_at=signing.at or signature.recorded_at,
        signed_by=by.name, result=result.value, left_off_at=None,
    )  # fmt: skip
    checkpoints.ask("check signed")
    return check, event.seq


def sign_as_keyed_in(check: Check, signing: Signing, *, by: Actor) -> tuple[Check, int]:
    """Sign a check just keyed in from paper, inside the transaction that stored it."""
    steps = steps_of(check.version)
    answers = answers_of(check)
    return _signed(check, result_now(steps, answers), shown(check, answers, []), signing, by=by)


def holds(signature: Signature, check: Check, answers: Iterable[Answer]) -> bool:
    """Return whether the content is still what was signed; if not, the signature is shown as void."""
    return signature.shown_sha256 == content_digest(check, answers)
