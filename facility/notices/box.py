"""look(): what the box itself needs somebody for, told to its first accounts and to directors once per thing and day."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, timedelta
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.counted import counted
from facility.health.parts import parts
from facility.jobs.words import words_of
from facility.models import Event, Job, NoticeKind, Site
from facility.notices.drafts import Draft, store
from facility.notices.people import of_the_box
from facility.readiness.links import link

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

BACK = timedelta(days=1)
TRIED, COPIED = "backup:tried", "backup:not-copied"
VERIFIED, AFTER_STOP, CONTRADICTED = (
    "records:verified",
    "records:checked-after-unclean-stop",
    "records:head contradicted",
)


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that the box needs somebody for; ``key`` names it, ``page`` where to look."""

    key: str
    said: str
    action: str
    page: str = ""


def look(at: datetime) -> str:
    """Store the notices and return one sentence. Works whatever the clock says: a wrong clock is one of the troubles."""
    day = at.astimezone(UTC).date().isoformat()
    keys = dict(Site.objects.values_list("pk", "key"))
    people = of_the_box()
    found = {one.key: one for one in troubles(at)}
    copies = (
        (_draft(one, site, keys[site], day), user) for one in found.values() for user, site in people
    )  # fmt: skip
    return f"{counted(len(found), 'trouble', 'troubles')} of the box, {counted(store(copies, now=at), 'notice', 'notices')} made."


def _draft(one: Trouble, site: int, site_key: str, day: str) -> Draft:
    page = link("places:events", site_key) if one.page == "events" else one.page
    return Draft(
        site_id=site, kind=NoticeKind.BOX, group=f"box:{one.key}:{day}", subject=one.said, body=one.said,
        next_action=one.action, link=page, things=(f"box:{one.key}",),
    )  # fmt: skip


def troubles(at: datetime) -> Iterator[Trouble]:
    """Yield what went wrong within a day, and the parts that are not well now. Some twenty queries by number."""
    rows = Event.objects.filter(seq__gte=first_since(at - BACK), action__in=WORDS)
    for action, payload in rows.order_by("seq").values_list("action", "payload"):
        yield from _of_event(action, json.loads(payload)["after"])
    dead = Job.objects.filter(dead_at__gt=at - BACK).order_by("kind")
    for kind in dead.values_list("kind", flat=True).distinct():
        said = _("The job “%(kind)s” was given up after its last try.") % {"kind": words_of(kind)}
        action = _("Read its error on the page of the jobs, put it right, and run it again.")
        yield Trouble(f"job-{kind}", said, action, link("box:jobs"))
    for name, part in parts(at).items():
        if not part.ok:
            said = _("A part of the box is not well: %(name)s.") % {"name": name}
            yield Trouble(f"part-{name}", said, part.advice, link("box:jobs") if name == "jobs" else "")


def _of_event(action: str, after: dict[str, str]) -> Iterator[Trouble]:
    """Yield the trouble that an event tells of, if it does."""
    if action == TRIED and after.get("result") != "restored":
        said = _("The newest backup could NOT be put back when it was tried.")
        yield Trouble(
            "backup-trial", said, _("Make a backup now, try it, and read why it failed."), link("box:backups")
        )
    elif action == COPIED:
        said = _("A backup could not be copied to a second place.")
        action_now = _("Look whether the stick or folder is there and has room.")
        yield Trouble("backup-copy", said, action_now, link("box:backups"))
    elif action in (VERIFIED, AFTER_STOP) and after.get("found") != "nothing wrong":
        said = _("The check of the records found a fault.")
        yield Trouble("records", said, _("Change nothing, make a backup, and read what was found."), "events")
    elif action == CONTRADICTED:
        said = _("The log contradicts a head that was signed earlier.")
        yield Trouble("records-head", said, _("Change nothing, and compare with the heads kept outside."), "events")


WORDS = (TRIED, COPIED, VERIFIED, AFTER_STOP, CONTRADICTED)


def first_since(at: datetime) -> int:
    """Return the number of the first event recorded since an instant: halved down by number, which has no gaps."""
    newest = Event.objects.order_by("-seq").values_list("seq", flat=True).first() or 0
    low, high = 1, newest + 1
    while low < high:
        middle = (low + high) // 2
        recorded = Event.objects.values_list("recorded_at", flat=True).get(seq=middle)
        low, high = (middle + 1, high) if recorded < at else (low, middle)
    return low
