"""Writing a new version of a sheet, and taking over a sheet from the reference."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext_lazy as _

from facility import events, services
from facility.compute.sheets import SheetError, Step, parse_steps, plain_step
from facility.models import CheckSheet, SheetVersion
from facility.walk.words import refusal
from maintenance.models import Equipment, GasBank

if TYPE_CHECKING:
    from datetime import datetime

    from facility.events import Actor
    from facility.models import Chamber
    from facility.walk.reference import DefaultSheet


@dataclass(frozen=True, slots=True)
class VersionDraft:
    """A version to be. ``shown`` is the number of the version that was changed, 0 for a first one."""

    steps: list[dict[str, Any]]
    approved_by: str
    in_force_from: datetime
    reason: str
    shown: int


class VersionMeanwhileError(ValidationError):
    """Somebody stored another version after this draft was begun."""

    def __init__(self, stored: SheetVersion) -> None:
        super().__init__(
            _("Version %(number)s was stored by %(who)s meanwhile. Compare both below; saving again puts yours in its place."),
            code="changed", params={"number": stored.version, "who": stored.recorded_by},
        )  # fmt: skip
        self.stored = stored


def checked_steps(sheet: CheckSheet, raw: list[dict[str, Any]]) -> tuple[Step, ...]:
    """Return the steps of a draft.

    Errors: ValidationError if a step is not clear, or names a tag or bank that the site does not have.
    """
    try:
        steps = parse_steps(raw)
    except SheetError as error:
        raise ValidationError(refusal(error), code="steps") from error
    site = sheet.chamber.site_id
    tags = {step.tag for step in steps if step.tag}
    banks = {step.bank for step in steps if step.bank}
    known_tags = set(Equipment.objects.filter(site=site, tag__in=tags, retired_at=None).values_list("tag", flat=True))
    known_banks = set(GasBank.objects.filter(site=site, key__in=banks, retired_at=None).values_list("key", flat=True))
    for step in steps:
        if step.tag and step.tag not in known_tags:
            raise ValidationError(
                _("Step %(key)s: this site has no item with the tag “%(tag)s”. Add it under Plant or leave the tag empty."),
                code="tag", params={"key": step.key, "tag": step.tag},
            )  # fmt: skip
        if step.bank and step.bank not in known_banks:
            raise ValidationError(
                _("Step %(key)s: this site has no gas bank “%(bank)s”. Add it under Plant or leave the bank empty."),
                code="bank", params={"key": step.key, "bank": step.bank},
            )  # fmt: skip
    return steps


@transaction.atomic
def save_version(sheet: CheckSheet, draft: VersionDraft, *, by: Actor) -> SheetVersion:
    """Store a new version in the place of the one shown. Open checks keep the version they began with.

    Errors: VersionMeanwhileError; ValidationError for unclear steps, a blank reason, or a time to come.
    """
    CheckSheet.objects.select_for_update().get(pk=sheet.pk)
    current = sheet.versions.filter(retired_at=None).first()
    if (current.version if current else 0) != draft.shown:
        if current is not None:
            raise VersionMeanwhileError(current)
        raise ValidationError(_("The version you changed is no longer there. Load the page again."), code="changed")
    if draft.in_force_from > events.now():
        raise ValidationError(
            _("A version is in force once it is saved. Give the time now or before, or save it later."), code="future"
        )
    steps = checked_steps(sheet, draft.steps)
    last = sheet.versions.order_by("-version").first()
    version = SheetVersion(
        sheet=sheet, version=(last.version if last else 0) + 1, steps=[plain_step(step) for step in steps],
        approved_by=draft.approved_by, in_force_from=draft.in_force_from, occurred_at=draft.in_force_from,
    )  # fmt: skip
    if current is None:
        return services.add(version, by=by, action="sheet version added", reason=services.need_reason(draft.reason))
    services.supersede(current, version, by=by, reason=draft.reason)
    return version


@transaction.atomic
def take_over(chamber: Chamber, default: DefaultSheet, approved_by: str, *, by: Actor) -> CheckSheet:
    """Store a sheet of the reference as a sheet of the chamber, with its steps as version 1.

    Errors: ValidationError if the chamber has a sheet of this key.
    """
    sheet = services.add(
        CheckSheet(chamber=chamber, key=default.key, title=default.title, occasion=default.occasion), by=by
    )
    draft = VersionDraft(list(default.plain), approved_by, events.now(), str(_("taken over from the reference")), 0)
    save_version(sheet, draft, by=by)
    return sheet
