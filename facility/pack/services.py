"""Asking for a pack, building it, and handing it out: each of them an event."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from facility import events, services
from facility.events import What
from facility.fields import day_text
from facility.jobs.queue import Kind, enqueue
from facility.models import Pack, PackState, Site
from facility.pack import building, released, scope

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from facility.events import Actor
    from facility.pack.building import Built
    from facility.pack.released import Release

PAPERS: Final = ("A4", "Letter")
LONGEST_DAYS: Final = 366 * 40
logger = logging.getLogger(__name__)


@transaction.atomic
def ask(pack: Pack, releases: list[Release], *, by: Actor, queue: bool = True) -> Pack:
    """Store that a pack is wanted, one event for it and one for each release, and the job that builds it.

    Errors: ValidationError if days, scope, recipient, ground, paper or a release is refused.
    """
    site = Site.objects.select_for_update().get(pk=pack.site_id)
    refuse_days(pack.from_day, pack.to_day, site)
    pack.chamber = scope.parsed(pack.scope, site)[0]
    if pack.paper not in PAPERS:
        raise ValidationError({"paper": _("Choose A4 or Letter.")})
    let_go = released.checked(releases, site)
    pack.released = [one.as_json() for one in let_go]
    pack.number = (Pack.objects.filter(site=site).aggregate(last=Max("number"))["last"] or 0) + 1
    pack.asked_by = by.name
    services.add(pack, by=by, action="pack asked")
    for one in let_go:
        after = {"model": one.model, "pk": str(one.pk), "field": one.field}
        what = What("released for a pack", after=after, reason=one.reason, site_key=site.key)
        events.record(pack, what, by=by)
    if queue:
        pack.job = enqueue(Kind.BUILD_PACK, {"pack": pack.pk}, once_key=f"pack:{pack.pk}").pk
        pack.save(update_fields=["job"])
    return pack


def refuse_days(from_day: date, to_day: date, site: Site) -> None:
    """Errors: ValidationError if the days are in no order, lie ahead, or are more than 40 years."""
    today = events.now().astimezone(ZoneInfo(site.zone)).date()
    if to_day < from_day:
        raise ValidationError({"to_day": _("The period ends on %(to)s, before it begins on %(from)s.") % {
            "to": day_text(to_day), "from": day_text(from_day)}})  # fmt: skip
    if to_day > today:
        raise ValidationError({"to_day": _("%(to)s lies ahead: there are no records yet. Choose %(today)s or before.") % {
            "to": day_text(to_day), "today": day_text(today)}})  # fmt: skip
    if (to_day - from_day).days > LONGEST_DAYS:
        raise ValidationError({"from_day": _("The period is longer than 40 years. Choose a later first day.")})


def build(pk: int, *, by: Actor, say: Callable[[str], object]) -> Pack:
    """Build a pack that was asked for. One that lies there already is not built again.

    Errors: whatever stops it, after the pack's row was told.
    """
    pack = Pack.objects.select_related("site", "chamber").get(pk=pk)
    if pack.state == PackState.BUILT and building.path_of(pack).is_file():
        return pack
    try:
        built = building.build(pack, events.now(), say)
    except Exception as error:
        _failed(pack, error)
        raise
    return _built(pack, built, by=by)


@transaction.atomic
def _built(pack: Pack, built: Built, *, by: Actor) -> Pack:
    pack.state, pack.error = PackState.BUILT, ""
    pack.file = str(built.path.relative_to(building.folder()))
    pack.sha256, pack.size_bytes, pack.log_size = built.sha256, built.size_bytes, built.log_size
    pack.built_at = events.now()
    pack.save(update_fields=["state", "error", "file", "sha256", "size_bytes", "log_size", "built_at", "pseudonyms"])
    after = {"number": str(pack.number), "sha256": built.sha256, "bytes": str(built.size_bytes),
             "log_size": str(built.log_size)}  # fmt: skip
    events.record(pack, What("pack built", after=after, site_key=pack.site.key), by=by)
    return pack


def _failed(pack: Pack, error: Exception) -> None:
    logger.exception("Pack %s of %s could not be built", pack.number, pack.site.key)
    pack.state, pack.error = PackState.FAILED, f"{type(error).__name__}: {error}"[:1000]
    pack.save(update_fields=["state", "error"])


@transaction.atomic
def ask_again(pack: Pack, *, by: Actor) -> Pack:
    """Let a pack that could not be built be built once more.

    Errors: ValidationError if it was built, or is being built.
    """
    if pack.state != PackState.FAILED:
        raise ValidationError(_("Pack %(number)d did not fail.") % {"number": pack.number})
    pack.state = PackState.ASKED
    pack.job = enqueue(Kind.BUILD_PACK, {"pack": pack.pk}).pk
    pack.save(update_fields=["state", "job"])
    events.record(pack, What("pack asked again", after={"number": str(pack.number)}, site_key=pack.site.key), by=by)
    return pack


@transaction.atomic
def note_fetched(pack: Pack, *, by: Actor) -> None:
    """Record who took a pack away."""
    after = {"number": str(pack.number), "sha256": pack.sha256}
    events.record(pack, What("pack fetched", after=after, site_key=pack.site.key), by=by)
