"""What each sort of calendar holds: days with a lasting name each. Nothing of patients, no clinical text."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from facility import house
from facility.compute.flags import Sort, later
from facility.feeds.services import person_of
from facility.models import Event, FeedSort, MedicalFitness, MedicalOutcome, QualificationHeld, ShutDown
from facility.practice.services import unread_by
from facility.readiness.telling.mine import mine
from facility.sweep.rows import things_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from facility.models import CalendarFeed, Site

KEPT = timedelta(days=400)
"""How long a shut-down that is over stays in its calendar; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Day:
    """One thing on one day, or through ``last``. ``key`` names the thing, not its day: it stays when the day moves."""

    key: str
    first: date
    title: str
    last: date | None = None
    said: str = ""


@dataclass(frozen=True, slots=True)
class Revised:
    """How new what is told is: the number and instant of the newest event of the site, or the day that has begun."""

    number: int
    at: datetime


def days_of(feed: CalendarFeed, at: datetime) -> list[Day]:
    """Return the days of a calendar as the record has them at ``at``, the nearest first."""
    made = {FeedSort.MINE: _mine, FeedSort.SITE: _site, FeedSort.SHUT: _shut}[FeedSort(feed.sort)]
    return sorted(made(feed, at), key=lambda one: (one.first, one.key))


def revised(site: Site, at: datetime) -> Revised:
    """Return what SEQUENCE and LAST-MODIFIED follow: neither ever falls, and a new date raises one of them.

    A date moves by a record, which is an event of the site, or because a day has begun.
    """
    newest = Event.objects.filter(site_id_text=site.key).order_by("-seq").values_list("seq", "recorded_at").first()
    midnight = datetime.combine(_today(site, at), time(0), ZoneInfo(site.zone)).astimezone(UTC)
    return Revised(0, midnight) if newest is None else Revised(newest[0], max(newest[1], midnight))


def _today(site: Site, at: datetime) -> date:
    return at.astimezone(ZoneInfo(site.zone)).date()


def _mine(feed: CalendarFeed, at: datetime) -> Iterator[Day]:
    """Yield the ends of a person's own certificates and medical, and the procedures that wait to be read."""
    person = person_of(feed.user, feed.site)
    if person is None:
        return
    found = mine(person, at)
    held = [one.pk for one in found.endings if one.slug == "qualification"]
    kinds = dict(QualificationHeld.objects.filter(pk__in=held).values_list("pk", "kind_id"))
    unfit = MedicalFitness.objects.filter(person=person, outcome=MedicalOutcome.UNFIT).values_list("pk", flat=True)
    unfit_medicals = {("medical", pk) for pk in unfit}
    for one in found.endings:
        if one.last_on is not None and (one.slug, one.pk) not in unfit_medicals:
            key = f"medical-{person.pk}" if one.slug == "medical" else f"qualification-{person.pk}-{kinds[one.pk]}"
            yield Day(f"mine-{key}", one.last_on, _("Last day: %(what)s") % {"what": one.what})
    today = _today(feed.site, at)
    for procedure in unread_by(person):
        yield Day(f"mine-read-{procedure.key}", today, _("To read: %(title)s") % {"title": procedure.title})


def _site(feed: CalendarFeed, at: datetime) -> Iterator[Day]:
    """Yield the last good day of everything at the site; what was never recorded stands on today."""
    site, today = feed.site, _today(feed.site, at)
    found = things_of({site.pk: house.values(site)}, {site.pk: (site.zone, today)})
    for one in found.get(site.pk, ()):
        key = one.key.replace(":", "-")
        if one.last_good is None:
            yield Day(key, today, _("Never recorded: %(what)s") % {"what": _name(one.sort, one.name)})
            continue
        said = ""
        if one.window_days:
            ends = later(one.last_good, one.window_days)
            said = _("The window keeps it good through %(day)s.") % {"day": ends.isoformat()}
        yield Day(key, one.last_good, _("Last day: %(what)s") % {"what": _name(one.sort, one.name)}, said=said)


def _name(sort: Sort, name: str) -> str:
    """Say what is meant where a name alone is only a key."""
    words = {
        Sort.LIFE: _("service life of %(name)s"),
        Sort.MEDICAL: _("medical of %(name)s"),
        Sort.CONTACT: _("contact %(name)s confirmed"),
    }
    return words.get(sort, "%(name)s") % {"name": name}


def _shut(feed: CalendarFeed, at: datetime) -> Iterator[Day]:
    """Yield planned shut-downs by the civil days of the site that they touch. The reason stays in the box."""
    rows = ShutDown.objects.filter(chamber__site=feed.site).select_related("chamber")
    before = dict(rows.values_list("pk", "supersedes_id"))
    zone = ZoneInfo(feed.site.zone)
    for row in rows.filter(retired_at=None, ends_at__gt=at - KEPT):
        start, end = row.starts_at.astimezone(zone), row.ends_at.astimezone(zone)
        first, last = start.date(), (row.ends_at - timedelta(microseconds=1)).astimezone(zone).date()
        title = _("Planned shut-down: %(chamber)s") % {"chamber": row.chamber.name}
        said = _("%(start)s to %(end)s") % {"start": f"{start:%Y-%m-%d %H:%M}", "end": f"{end:%Y-%m-%d %H:%M}"}
        yield Day(f"shut-{_root(row.pk, before)}", first, title, last, said)


def _root(pk: int, before: Mapping[int, int | None]) -> int:
    """Return the first of a row of corrections, which keeps its name in the calendar."""
    while (older := before.get(pk)) is not None:
        pk = older
    return pk
