"""What the record tells of a person by name alone: checks signed and work done that no account of theirs recorded."""

from __future__ import annotations

import json
from datetime import datetime, time
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from facility.models import Check, CheckState, Event
from maintenance.models import WorkRecord

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from facility.models import Person

NOON = time(12)
"""Of a day without an hour the middle is taken, so that it is the same day in the site's zone."""


def deeds_by_name(person: Person, since: datetime | None, most: int) -> Iterator[tuple[datetime, str, str, int | None]]:
    """Yield the newest checks signed and works done under the name of a person, but for those that their account recorded."""
    zone = ZoneInfo(person.site.zone)
    checks = Check.objects.filter(
        sheet__chamber__site=person.site, signed_by=person.name, state=CheckState.SIGNED, signed_at__isnull=False
    ).select_related("sheet")
    works = WorkRecord.objects.current().filter(equipment__site=person.site, done_by=person.name)
    if since is not None:
        checks = checks.filter(signed_at__gte=since)
        works = works.filter(done_on__gte=since.astimezone(zone).date())
    signed = list(checks.order_by("-signed_at")[:most])
    done = list(works.select_related("equipment").order_by("-done_on", "-pk")[:most])
    first, own = _events(signed, done, person)
    words = _("under this name; no account stands behind it")
    for check in signed:
        if check.signed_at is not None and (key := (check._meta.label_lower, check.pk)) not in own:
            yield (
                check.signed_at,
                f"{check.sheet.title}, {_('check %(n)d') % {'n': check.number}}",
                words,
                first.get(key),
            )
    for work in done:
        if (key := (work._meta.label_lower, work.pk)) not in own:
            at = datetime.combine(work.done_on, NOON, zone)
            yield at, f"{work.equipment.tag}: {capfirst(work.get_kind_display())}", words, first.get(key)


def _events(
    checks: Sequence[Check], works: Sequence[WorkRecord], person: Person
) -> tuple[dict[tuple[str, int], int], set[tuple[str, int]]]:
    """Return the first event of each row, and the rows of which the person's own account recorded something."""
    wanted = Q(subject_kind=Check._meta.label_lower, subject_id__in=[one.pk for one in checks])
    wanted |= Q(subject_kind=WorkRecord._meta.label_lower, subject_id__in=[one.pk for one in works])
    first: dict[tuple[str, int], int] = {}
    own: set[tuple[str, int]] = set()
    for seq, kind, subject, payload in (
        Event.objects.filter(wanted).order_by("seq").values_list("seq", "subject_kind", "subject_id", "payload")
    ):
        key = (kind, subject or 0)
        first.setdefault(key, seq)
        if person.user_id is not None and json.loads(payload)["actor_id"] == str(person.user_id):
            own.add(key)
    return first, own
