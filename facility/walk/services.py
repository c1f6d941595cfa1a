"""Beginning a check, breaking it off, giving it up; what answering and signing build upon."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext_lazy as _

from facility import events, services
from facility.compute.sheets import SheetError, Step, parse_steps
from facility.events import What
from facility.models import Check, CheckSheet, CheckState, SheetVersion, Site
from facility.walk.words import refusal

if TYPE_CHECKING:
    from datetime import datetime

    from facility.events import Actor
    from facility.models import Event


class AlreadySignedError(ValidationError):
    """The check was signed meanwhile."""

    def __init__(self, check: Check) -> None:
        super().__init__(
            _("%(check)s is already signed by %(who)s at %(when)s UTC. Begin a new check for what you found."),
            code="signed",
            params={"check": str(check), "who": check.signed_by, "when": f"{check.signed_at:%Y-%m-%d %H:%M}"},
        )
        self.check = check


def locked(check_pk: int, site: Site) -> Check:
    """Return a check of the site, held until the transaction ends.

    Errors: Check.DoesNotExist if the site has no such check.
    """
    rows = Check.objects.select_for_update(of=("self",)).select_related("version", "sheet__chamber__site")
    return rows.get(pk=check_pk, sheet__chamber__site=site)


def current_version(sheet: CheckSheet) -> SheetVersion:
    """Return the version of a sheet that is in force.

    Errors: ValidationError if it has none.
    """
    version = sheet.versions.filter(retired_at=None).first()
    if version is None:
        raise ValidationError(
            _("%(sheet)s has no version in force. Write one first."), code="no version", params={"sheet": str(sheet)}
        )
    return version


@transaction.atomic
def start(sheet: CheckSheet, *, by: Actor) -> tuple[Check, bool]:
    """Return the open check of a sheet and whether it was there before; begin one if there is none.

    Errors: ValidationError if the sheet has no version in force or was retired.
    """
    Site.objects.select_for_update().get(pk=sheet.chamber.site_id)
    open_one = Check.objects.filter(sheet=sheet, state=CheckState.OPEN, retired_at=None).order_by("started_at").first()
    if open_one is not None:
        return open_one, True
    if sheet.retired_at is not None:
        raise ValidationError(
            _("%(sheet)s is retired. Choose another sheet."), code="retired", params={"sheet": str(sheet)}
        )
    return add_check(sheet, current_version(sheet), at=events.now(), by=by), False


def add_check(sheet: CheckSheet, version: SheetVersion, *, at: datetime, by: Actor, **more: Any) -> Check:
    """Store a new check with the site's next number. The caller holds the site."""
    of_site = Check.objects.filter(sheet__chamber__site_id=sheet.chamber.site_id)
    number = (of_site.aggregate(last=Max("number"))["last"] or 0) + 1
    check = Check(
        sheet=sheet, version=version, number=number, started_at=at, started_by=more.pop("started_by", by.name), **more
    )
    return services.add(check, by=by, action="check begun")


def update(check: Check, action: str, *, by: Actor, reason: str = "", **fields: Any) -> Event:
    """Set fields of a locked check; return the event, which has the old and the new values."""
    before = {name: str(getattr(check, name) or "") for name in fields}
    for name, value in fields.items():
        setattr(check, name, value)
    check.row_version += 1
    check.full_clean(exclude=["recorded_by"], validate_unique=False)
    check.save(update_fields=[*fields, "row_version"])
    after = {name: str(getattr(check, name) or "") for name in fields}
    return events.record(check, What(action, reason, before, after, site_key=services.site_key_of(check)), by=by)


def refuse_closed(check: Check, at: datetime) -> None:
    if check.state == CheckState.GIVEN_UP:
        raise ValidationError(
            _("%(check)s was given up. Begin a new check."), code="given up", params={"check": str(check)}
        )
    if check.state == CheckState.SIGNED and (check.signed_at is None or at >= check.signed_at):
        raise AlreadySignedError(check)


def step_of(version: SheetVersion, key: str) -> Step:
    """Return one step of a version.

    Errors: ValidationError naming the step that the version does not have.
    """
    asked = [step for step in version.steps if step.get("key") == key]
    if asked:
        return _parsed(asked)[0]
    raise ValidationError(
        _("%(version)s has no step “%(key)s”. Load the page again."),
        code="step",
        params={"version": str(version), "key": key},
    )


def steps_of(version: SheetVersion) -> tuple[Step, ...]:
    """Return the steps of a stored version.

    Errors: ValidationError if they cannot be walked.
    """
    return _parsed(version.steps)


def _parsed(steps: list[dict[str, Any]]) -> tuple[Step, ...]:
    try:
        return parse_steps(steps)
    except SheetError as error:
        raise ValidationError(refusal(error), code="steps") from error


@transaction.atomic
def leave(check_pk: int, *, site: Site, by: Actor) -> Check:
    """Break off an open check; it is kept and taken up again at the same step."""
    check = locked(check_pk, site)
    if check.state == CheckState.OPEN:
        update(check, "check broken off", by=by, left_off_at=events.now())
    return check


@transaction.atomic
def give_up(check_pk: int, *, reason: str, site: Site, by: Actor) -> Check:
    """End an open check without a signature; its answers stay readable.

    Errors: ValidationError for a blank reason or a check that is not open.
    """
    check = locked(check_pk, site)
    reason = services.need_reason(reason)
    refuse_closed(check, events.now())
    update(check, "check given up", by=by, reason=reason, state=CheckState.GIVEN_UP)
    return check
