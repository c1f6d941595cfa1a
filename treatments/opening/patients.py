"""Who a patient is: stored in its own table; events hold a salted digest, never a value."""

from __future__ import annotations

import hashlib
import json
import secrets
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events
from facility.events import What
from facility.services import ChangedMeanwhileError, need_reason
from treatments.models import Patient

if TYPE_CHECKING:
    from facility.events import Actor

VALUES = ("name", "born_on", "reach_at", "number", "note")
SALT_BYTES = 16
ERASED = "erased"


def salted_digest(salt: bytes | memoryview, text: str) -> str:
    """Return the SHA-256 over salt and text, as hexadecimal digits. Without the salt nobody can try texts."""
    return hashlib.sha256(bytes(salt) + text.encode()).hexdigest()


def new_salt() -> bytes:
    """Return a fresh salt."""
    return secrets.token_bytes(SALT_BYTES)


def digest_of(patient: Patient) -> str:
    """Return the salted digest over a patient's values in one fixed text."""
    values = {name: str(getattr(patient, name) or "") for name in VALUES}
    text = json.dumps(values, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return salted_digest(patient.salt, text)


@transaction.atomic
def add_patient(patient: Patient, *, by: Actor) -> Patient:
    """Store a patient's identity and an event that holds its salted digest.

    Errors: ValidationError if a value is refused.
    """
    patient.salt = new_salt()
    patient.recorded_at, patient.recorded_by = events.now(), by.name
    patient.full_clean(exclude=["recorded_by"])
    patient.save(force_insert=True)
    _tell(patient, "patient added", by=by)
    return patient


@transaction.atomic
def change_patient(patient: Patient, *, reason: str, shown_version: int, by: Actor) -> Patient:
    """Store changed values of a patient; the event holds the digests before and after.

    ``reason`` stands in the event: nothing about the patient belongs into it.
    Errors: ChangedMeanwhileError if it changed after it was shown; ValidationError for a value, a blank
    reason or an erased identity.
    """
    reason = need_reason(reason)
    before = _locked(patient.pk, shown_version)
    patient.row_version = before.row_version + 1
    patient.recorded_at, patient.recorded_by = events.now(), by.name
    patient.full_clean(exclude=["recorded_by"])
    patient.save(force_update=True)
    _tell(patient, "patient corrected", by=by, reason=reason, before=digest_of(before))
    return patient


@transaction.atomic
def erase_patient(patient: Patient, *, reason: str, shown_version: int, by: Actor) -> Patient:
    """Erase a patient's values and the salt; runs keep their pseudonym, the log stays whole.

    Errors: as change_patient().
    """
    reason = need_reason(reason)
    before = _locked(patient.pk, shown_version)
    told = digest_of(before)
    patient.name, patient.born_on, patient.reach_at, patient.number, patient.note = ERASED, None, "", "", ""
    patient.salt, patient.erased_at = b"", events.now()
    patient.row_version = before.row_version + 1
    patient.recorded_at, patient.recorded_by = patient.erased_at, by.name
    patient.save(force_update=True)
    events.record(
        patient,
        What("patient erased", reason, {"digest": told}, {"digest": ""}, site_key=patient.site.key),
        by=by,
    )
    return patient


def _locked(pk: int, shown_version: int) -> Patient:
    stored = Patient.objects.select_for_update().get(pk=pk)
    if stored.erased_at is not None:
        raise ValidationError(_("This identity was erased. Nothing can be changed in it."), code="erased")
    if stored.row_version != shown_version:
        raise ChangedMeanwhileError(stored)
    return stored


def _tell(patient: Patient, action: str, *, by: Actor, reason: str = "", before: str = "") -> None:
    old = {"digest": before} if before else None
    what = What(action, reason, old, {"digest": digest_of(patient)}, site_key=patient.site.key)
    events.record(patient, what, by=by)
