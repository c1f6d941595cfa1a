"""Adding, correcting and retiring a record: the change and its event in one transaction."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models import F
from django.utils.translation import gettext_lazy as _

from facility import events
from facility.events import Actor, What
from facility.models import Entry, Kept, Site

if TYPE_CHECKING:
    from datetime import datetime

Row = TypeVar("Row", bound=Kept)


class ChangedMeanwhileError(ValidationError):
    """Somebody else changed the row after it was shown; both versions belong on the page."""

    def __init__(self, stored: Kept) -> None:
        super().__init__(
            _("%(what)s was changed by %(who)s meanwhile. Compare both versions and decide which one stands."),
            code="changed",
            params={"what": str(stored), "who": stored.recorded_by},
        )
        self.stored = stored


def as_text(value: object) -> str:
    """Return one value as an event's text: nothing for none, JSON for lists and objects."""
    if isinstance(value, list | dict):
        return json.dumps(value, ensure_ascii=False, sort_keys=True)
    return "" if value is None else str(value)


def plain(row: models.Model) -> dict[str, str]:
    """Return a row's own fields as texts, for an event's before and after."""
    left_out = {"id", "row_version", "recorded_at", "recorded_by"}
    return {
        field.attname: as_text(getattr(row, field.attname))
        for field in row._meta.concrete_fields
        if field.name not in left_out
    }


STEPS_TO_SITE = (
    "site", "chamber", "person", "equipment", "bank", "cylinder", "sheet", "need", "check_done", "counter", "rule",
    "reference", "defect", "delivery", "recall", "run", "near_miss", "kind", "drill", "procedure", "call",
    "inspection", "finding",
)  # fmt: skip


def site_key_of(row: models.Model) -> str:
    """Return the key of the site that a row belongs to, or nothing."""
    if isinstance(row, Site):
        return row.key
    for step in STEPS_TO_SITE:
        if hasattr(row, f"{step}_id") and (parent := getattr(row, step)) is not None:
            return site_key_of(parent)
    return ""


def need_reason(reason: str) -> str:
    """Return the trimmed reason.

    Errors: ValidationError if it is blank.
    """
    if not reason.strip():
        raise ValidationError(_("Give a reason: it is kept with the record."), code="reason")
    return reason.strip()


@transaction.atomic
def add(row: Row, *, by: Actor, action: str = "added", reason: str = "", late: bool = False) -> Row:
    """Store a new row and its event.

    Errors: ValidationError if a field or a constraint refuses it.
    """
    row.recorded_at = events.now()
    row.recorded_by = by.name
    row.full_clean(exclude=["recorded_by"])
    row.save(force_insert=True)
    what = What(
        action=action, after=plain(row), reason=reason, late=late,
        occurred_at=getattr(row, "occurred_at", None), site_key=site_key_of(row),
    )  # fmt: skip
    events.record(row, what, by=by)
    return row


@transaction.atomic
def change(row: Row, *, by: Actor, reason: str, shown_version: int, action: str = "corrected") -> Row:
    """Store changed fields of a kept thing; the event keeps the old and the new values.

    Errors: ChangedMeanwhileError if ``shown_version`` is no longer the stored one;
    ValidationError if a field, a constraint or a blank reason refuses it.
    """
    reason = need_reason(reason)
    model: Any = type(row)
    if not model.objects.filter(pk=row.pk, row_version=shown_version).update(row_version=F("row_version") + 1):
        raise ChangedMeanwhileError(model.objects.get(pk=row.pk))
    before = plain(model.objects.get(pk=row.pk))
    row.row_version = shown_version + 1
    row.recorded_at = events.now()
    row.recorded_by = by.name
    row.full_clean(exclude=["recorded_by"])
    row.save(force_update=True)
    what = What(action=action, before=before, after=plain(row), reason=reason, site_key=site_key_of(row))
    events.record(row, what, by=by)
    return row


@transaction.atomic
def supersede(old: Entry, new: Entry, *, by: Actor, reason: str) -> Entry:
    """Store ``new`` in the place of ``old``, which stays visible as superseded.

    Errors: ChangedMeanwhileError if ``old`` no longer counts; ValidationError as in add().
    """
    reason = need_reason(reason)
    at = events.now()
    model: Any = type(old)
    before = plain(model.objects.get(pk=old.pk))
    if not model.objects.filter(pk=old.pk, retired_at=None).update(retired_at=at, retired_reason=reason[:500]):
        raise ChangedMeanwhileError(model.objects.get(pk=old.pk))
    new.supersedes = old
    new.recorded_at = at
    new.recorded_by = by.name
    new.full_clean(exclude=["recorded_by"])
    new.save(force_insert=True)
    what = What(
        action="superseded", before=before, after=plain(new), reason=reason,
        occurred_at=new.occurred_at, site_key=site_key_of(new),
    )  # fmt: skip
    events.record(new, what, by=by)
    return new


@transaction.atomic
def retire(row: Row, *, by: Actor, reason: str, at: datetime | None = None, action: str = "retired") -> Row:
    """Let a row no longer count from now on; it stays readable.

    Errors: ChangedMeanwhileError if it was retired already; ValidationError for a blank reason.
    """
    reason = need_reason(reason)
    model: Any = type(row)
    changed = model.objects.filter(pk=row.pk, retired_at=None).update(
        retired_at=at or events.now(), retired_reason=reason[:500], row_version=F("row_version") + 1
    )
    if not changed:
        raise ChangedMeanwhileError(model.objects.get(pk=row.pk))
    row.refresh_from_db()
    what = What(
        action=action, before={"retired_at": ""}, after={"retired_at": str(row.retired_at)}, reason=reason,
        site_key=site_key_of(row),
    )  # fmt: skip
    events.record(row, what, by=by)
    return row


@transaction.atomic
def bring_back(row: Row, *, by: Actor, reason: str) -> Row:
    """Let a thing that was retired count again. Statements are not brought back: another is made.

    Errors: ChangedMeanwhileError if it counts already; ValidationError for a blank reason, or if a field or a
    constraint refuses it, such as a serial number that another item has meanwhile.
    """
    reason = need_reason(reason)
    model: Any = type(row)
    before = {"retired_at": str(row.retired_at), "retired_reason": row.retired_reason}
    past = model.objects.filter(pk=row.pk, retired_at__isnull=False)
    if not past.exists():
        raise ChangedMeanwhileError(model.objects.get(pk=row.pk))
    row.retired_at, row.retired_reason = None, ""
    row.full_clean(exclude=["recorded_by"])
    past.update(retired_at=None, retired_reason="", row_version=F("row_version") + 1)
    row.refresh_from_db()
    what = What(action="brought back", before=before, after={"retired_at": "", "retired_reason": ""}, reason=reason,
                site_key=site_key_of(row))  # fmt: skip
    events.record(row, what, by=by)
    return row
