"""Storing what is new: a row and an event for each flag, once per thing and day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction

from facility import events
from facility.compute.flags import Flag as Found
from facility.compute.flags import FlagState, News, news
from facility.events import What
from facility.models import Chamber, Flag, Site
from facility.sweep.rows import SUBJECTS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date, datetime

BY = events.system("sweep")


@dataclass(frozen=True, slots=True)
class Look:
    """A look at one site: the instant, and the civil day there."""

    site_id: int
    at: datetime
    today: date


def compared(rows: Iterable[Flag], found: Iterable[Found]) -> News:
    """Compare the rows that stand with what was found."""
    return news([(row.thing, FlagState(row.state), row.last_good) for row in rows], found)


@transaction.atomic
def store(look: Look, found: Sequence[Found]) -> News:
    """Raise what is new at a site and close what is over. Two looks at once are put in a row by the site's lock."""
    site = Site.objects.select_for_update().get(pk=look.site_id)
    standing = list(Flag.objects.filter(site=site, over_at=None))
    result = compared(standing, found)
    over = [row.pk for row in standing if (row.thing, row.state, row.last_good) in result.over]
    Flag.objects.filter(pk__in=over).update(over_at=look.at)
    of_today = Flag.objects.filter(site=site, raised_on=look.today)
    told = {(row.thing, row.state): row for row in of_today}
    new = tuple(flag for flag in result.new if not _stands_again(told.get((flag.key, flag.state)), flag))
    for flag in new:
        _raise(site, look, flag)
    return News(new, result.standing, result.over)


def _stands_again(row: Flag | None, flag: Found) -> bool:
    """Let a flag that was told today stand again without another event. Return whether there was one."""
    if row is None:
        return False
    row.last_good, row.over_at = flag.last_good, None
    row.save(update_fields=["last_good", "over_at"])
    return True


def _raise(site: Site, look: Look, flag: Found) -> None:
    model: Any = SUBJECTS.get(flag.sort, Chamber)
    subject = model(pk=flag.pk)
    told = {
        "thing": flag.name, "sort": str(flag.sort), "state": str(flag.state),
        "last_good": str(flag.last_good or ""), "note": flag.note,
    }  # fmt: skip
    event = events.record(subject, What(f"flag:{flag.state}", after=told, site_key=site.key), by=BY)
    Flag.objects.create(
        site=site, thing=flag.key, sort=str(flag.sort), state=str(flag.state), last_good=flag.last_good,
        raised_on=look.today, raised_at=look.at, event_seq=event.seq,
    )  # fmt: skip
