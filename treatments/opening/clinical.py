"""What was written about somebody's health: kept apart, with its own permission; events hold a salted digest."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events
from facility.access import Act
from facility.events import What
from facility.services import need_reason, site_key_of
from treatments.models import ClinicalText, Run
from treatments.opening.patients import new_salt, salted_digest

if TYPE_CHECKING:
    from facility.access import Visit
    from facility.events import Actor
    from treatments.models import LogEntry, RunPlace

LONGEST_TEXT = 20_000


def may_read(visit: Visit, about: ClinicalText | Run) -> bool:
    """Whether somebody may read a clinical text, or those of a run: with the right, at the site of the run."""
    run = about if isinstance(about, Run) else about.run
    return visit.may(Act.PATIENT) and run.chamber.site_id == visit.site.pk


@transaction.atomic
def add_clinical(
    run: Run, text: str, about: RunPlace | None, entry: LogEntry | None, by: Actor
) -> ClinicalText:  # fmt: skip
    """Store a clinical text and an event that holds its salted digest.

    Errors: ValidationError if it is blank, too long, or ``about`` or ``entry`` is of another run.
    """
    text = _checked(text)
    if (about is not None and about.run_id != run.pk) or (entry is not None and entry.run_id != run.pk):
        raise ValidationError(_("The person or the entry is of another run. Choose one of this run."), code="run")
    row = ClinicalText(run=run, text=text, about=about, entry=entry, salt=new_salt())
    row.recorded_at, row.recorded_by = events.now(), by.name
    row.full_clean(exclude=["recorded_by"])
    row.save(force_insert=True)
    after = _links(row) | {"digest": salted_digest(row.salt, row.text)}
    events.record(row, What("clinical text added", "", None, after, site_key=site_key_of(row)), by=by)
    return row


@transaction.atomic
def correct_clinical(row: ClinicalText, text: str, *, reason: str, by: Actor) -> ClinicalText:
    """Store the right text as a new row; the old one stays readable, struck, for who may read it.

    ``reason`` stands in the event: nothing about health belongs into it.
    Errors: ValidationError if the text is blank or too long, the reason blank, or the row no longer counts.
    """
    reason, text = need_reason(reason), _checked(text)
    old = ClinicalText.objects.select_for_update().get(pk=row.pk)
    if old.retired_at is not None:
        raise ValidationError(_("This text was corrected already. Correct the newer one."), code="corrected")
    entry, old.entry = old.entry, None
    old.retired_at, old.retired_reason = events.now(), reason[:500]
    old.save(force_update=True)
    before = {"digest": salted_digest(old.salt, old.text)}
    events.record(old, What("clinical text struck", reason, before, {"digest": ""}, site_key=site_key_of(old)), by=by)
    return add_clinical(old.run, text, old.about, entry, by)


@transaction.atomic
def erase_clinical(row: ClinicalText, *, reason: str, by: Actor) -> ClinicalText:
    """Erase a clinical text and its salt; the log stays whole. Errors: ValidationError for a blank reason."""
    reason = need_reason(reason)
    stored = ClinicalText.objects.select_for_update().get(pk=row.pk)
    before = {"digest": salted_digest(stored.salt, stored.text)}
    stored.text, stored.salt, stored.erased_at = "", b"", events.now()
    stored.save(force_update=True)
    what = What("clinical text erased", reason, before, {"digest": ""}, site_key=site_key_of(stored))
    events.record(stored, what, by=by)
    return stored


def _checked(text: str) -> str:
    text = text.strip()
    if not text:
        raise ValidationError({"text": _("Write what is to be kept, or leave it.")}, code="blank")
    if len(text) > LONGEST_TEXT:
        raise ValidationError({"text": _("The text has %(n)d letters; %(most)d are taken. Write it in two parts.")
                               % {"n": len(text), "most": LONGEST_TEXT}})  # fmt: skip
    return text


def _links(row: ClinicalText) -> dict[str, str]:
    return {"run": str(row.run_id), "about": str(row.about_id or ""), "entry": str(row.entry_id or "")}
