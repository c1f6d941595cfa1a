"""Signatures under the record of a run, bound to what was shown. One that no longer fits stays visible as void."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext

from facility import events, services
from facility.access import Act
from facility.trust import checkpoints
from treatments.after.record import record_of
from treatments.models import Run, RunSignature, SignatureOf

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.utils.functional import _StrPromise as StrPromise

    from facility.events import Actor
    from facility.models import Site
    from treatments.after.record import Record

MEANINGS: dict[str, StrPromise] = {
    SignatureOf.SUPERVISOR: gettext_lazy(
        "I supervised this run. I looked through its record as shown: log, corrections, departures and figures. It tells what happened as far as I know."
    ),
    SignatureOf.PHYSICIAN: gettext_lazy(
        "I am the physician for this run. I looked through its record as shown: log, corrections, departures and figures, and take note of it."
    ),
}
ACT_OF: dict[str, Act] = {SignatureOf.SUPERVISOR: Act.SIGN, SignatureOf.PHYSICIAN: Act.MEDICAL}


class ChangedSinceShownError(ValidationError):
    """The record is no longer the one that was on the page."""

    def __init__(self) -> None:
        super().__init__(
            _("Not signed: the record changed after it was shown to you. Look through it as it is now and sign again."),
            code="changed",
        )


@dataclass(frozen=True, slots=True)
class Given:
    """A signature with whether it still fits the record. ``twice``: the same person signed in both capacities."""

    row: RunSignature
    holds: bool
    twice: bool

    @property
    def word(self) -> str:
        """What is said of it."""
        return pgettext("signature", "holds") if self.holds else pgettext("signature", "void")


@dataclass(frozen=True, slots=True)
class Signing:
    """Who signs as what, having seen which digest."""

    capacity: str
    user_id: int
    shown: str
    comment: str = ""


def signatures_of(record: Record) -> list[Given]:
    """Return every signature under a record, void ones too, in the order in which they were given."""
    rows = list(RunSignature.objects.filter(run=record.run, retired_at=None).order_by("signed_at", "id"))
    valid = [row for row in rows if row.digest == record.digest]
    return [Given(row, row.digest == record.digest, _twice(row, valid)) for row in rows]


def _twice(row: RunSignature, valid: Iterable[RunSignature]) -> bool:
    return any(
        other.signed_user == row.signed_user and other.capacity != row.capacity for other in valid if row.signed_user
    )


def missing_of(given: Iterable[Given]) -> list[SignatureOf]:
    """Return the capacities in which nobody's signature holds."""
    have = {one.row.capacity for one in given if one.holds}
    return [capacity for capacity in SignatureOf if capacity not in have]


@transaction.atomic
def sign(run_pk: int, signing: Signing, *, site: Site, by: Actor) -> RunSignature:
    """Sign the record of a run as it was shown.

    Errors: ChangedSinceShownError if it differs from what was shown; ValidationError if it is not closed, its figures
    are not those of its log, or somebody signed it in this capacity already.
    """
    run = (
        Run.objects.select_for_update(of=("self",))
        .select_related("chamber__site", "plan", "lock")
        .get(pk=run_pk, chamber__site=site)
    )
    now = events.now()
    record = record_of(run, now)
    if not record.closed:
        raise ValidationError(_("Close the record first: a signature stands under figures that are kept."), code="open")
    if record.changed:
        raise ValidationError(
            _("The log changed after the record was closed. Close it anew, then sign what it says now."), code="stale"
        )
    if record.digest != signing.shown:
        raise ChangedSinceShownError
    done = next((one for one in signatures_of(record) if one.holds and one.row.capacity == signing.capacity), None)
    if done is not None:
        raise ValidationError(_("%(who)s signed this record as %(capacity)s already.")
                              % {"who": done.row.signed_by, "capacity": done.row.get_capacity_display()}, code="signed")  # fmt: skip
    row = RunSignature(
        run=run, capacity=signing.capacity, signed_at=now, signed_by=by.name, signed_user=signing.user_id,
        meaning=str(MEANINGS[signing.capacity])[:300], comment=signing.comment.strip(), shown=record.text, digest=record.digest,
    )  # fmt: skip
    checkpoints.ask("record of a run signed")
    return services.add(row, by=by, action="signature given under the record of a run")
