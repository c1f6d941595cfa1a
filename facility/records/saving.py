"""Storing what a record's form yields: add, correct in place or supersede, retire."""

from __future__ import annotations

import copy
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.db import transaction

from facility import evidence, services
from facility.models import Entry, QualificationHeld
from maintenance import services as upkeep
from maintenance.models import BankReading, Opening, WorkRecord

if TYPE_CHECKING:
    from facility.access import Visit
    from facility.models import Kept
    from facility.records.forms import RecordForm
    from facility.records.kinds import RecordKind
    from facility.records.states import Moment


def fresh_row(kind: RecordKind, visit: Visit) -> Kept:
    """Return an empty row of a kind, already at the site where it hangs on it directly."""
    row: Any = kind.model()
    names = {field.name for field in kind.model._meta.concrete_fields}
    if "site" in names and "site" not in kind.fields:
        row.site = visit.site
    if "organisation" in names and "organisation" not in kind.fields:
        row.organisation = visit.site.organisation
    return row  # type: ignore[no-any-return]  # a row of kind.model


def successor(old: Kept) -> Kept:
    """Return a copy of an entry that is to take its place; a second look must be had again."""
    row: Any = copy.copy(old)
    row._state.adding = True
    row.pk = None
    row.row_version = 1
    row.retired_at = None
    row.retired_reason = ""
    if isinstance(row, QualificationHeld):
        row.second_look_by = ""
    if isinstance(row, WorkRecord) and row.second_look_by:
        row.needs_second_look, row.second_look_by, row.second_look_at = True, "", None
    return row  # type: ignore[no-any-return]  # a copy of a row


def _take_upload(kind: RecordKind, form: RecordForm, row: Kept, visit: Visit) -> None:
    upload = form.cleaned_data.get("upload")
    if kind.upload and upload is not None:
        setattr(row, kind.upload, evidence.accept(upload, site=visit.site, by=visit.actor))


def _is_late(kind: RecordKind, row: Kept, moment: Moment) -> bool:
    happened = getattr(row, kind.happened, None) if kind.happened else None
    return happened is not None and moment.now - happened > timedelta(minutes=int(moment.rules["late_entry_min"]))


@transaction.atomic
def add(kind: RecordKind, form: RecordForm, visit: Visit) -> Kept:
    """Store the new row of a valid form and its event.

    Errors: ValidationError as facility.services.add().
    """
    row = form.instance
    _take_upload(kind, form, row, visit)
    late = _is_late(kind, row, form.moment)
    if isinstance(row, WorkRecord):
        return upkeep.record_work(row, by=visit.actor)
    if isinstance(row, BankReading):
        return upkeep.record_reading(row, by=visit.actor, late=late)
    if isinstance(row, Opening):
        return upkeep.add_opening(row, by=visit.actor, late=late)
    if isinstance(row, Entry) and kind.happened:
        row.occurred_at = getattr(row, kind.happened)
    return services.add(row, by=visit.actor, late=late)


@transaction.atomic
def correct(kind: RecordKind, form: RecordForm, old: Kept, visit: Visit) -> Kept:
    """Store a correction: an entry is superseded, a kept thing changed in place.

    Errors: ChangedMeanwhileError if it changed after it was shown; ValidationError as the services.
    """
    row = form.instance
    _take_upload(kind, form, row, visit)
    reason = form.cleaned_data["reason"]
    if isinstance(row, Entry) and isinstance(old, Entry):
        if kind.happened:
            row.occurred_at = getattr(row, kind.happened)
        if isinstance(row, BankReading) and isinstance(old, BankReading) and row.temperature_c != old.temperature_c:
            row.answer = None  # a temperature was typed: it is no longer what a check carried without one
        return services.supersede(old, row, by=visit.actor, reason=reason)
    return services.change(row, by=visit.actor, reason=reason, shown_version=form.cleaned_data["shown_version"])
