"""What a report is about, and the one frame in which all its parts are told."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils.translation import gettext as _

from facility.events import first_events
from facility.fields import day_text
from facility.models import Chamber
from facility.report.areas import PLANT
from facility.shown import instant_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from django.db import models

    from facility.models import Pack, Site

A4, LETTER = "A4", "Letter"


@dataclass(frozen=True, slots=True)
class Scope:
    """What a report is about. ``areas`` empty: all of them; ``chamber`` None: the whole site; ``words``: the same to read.

    ``source``: only what rules ask for whose source begins so, such as the title of a code; empty: whatever they come from.
    ``events``: which events of the site are about it.
    """

    site: Site
    chamber: Chamber | None
    from_day: date
    to_day: date
    areas: tuple[str, ...] = ()
    paper: str = A4
    pack: Pack | None = None
    words: str = ""
    source: str = ""
    events: Q = field(default_factory=Q, compare=False)

    def has(self, *areas: str) -> bool:
        """Return whether one of these areas belongs to it."""
        return not self.areas or bool(set(areas) & set(self.areas))

    @property
    def kinds(self) -> list[str]:
        """The kinds of equipment in its areas."""
        return [str(kind) for area, (_title, kinds) in PLANT.items() if self.has(area) for kind in kinds]


@dataclass(frozen=True, slots=True)
class Frame:
    """Days of a scope with its site's clock. ``today``: the civil day of the site on which it is told."""

    scope: Scope
    from_day: date
    to_day: date
    today: date
    zone: ZoneInfo = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "zone", ZoneInfo(self.scope.site.zone))

    @property
    def site(self) -> Site:
        """The site."""
        return self.scope.site

    @property
    def starts_at(self) -> datetime:
        """The first instant of its days."""
        return datetime.combine(self.from_day, time(), self.zone)

    @property
    def ends_at(self) -> datetime:
        """The first instant after its days."""
        return datetime.combine(self.to_day + timedelta(days=1), time(), self.zone)

    def within(self, field_name: str) -> dict[str, datetime]:
        """Return a filter on instants."""
        return {f"{field_name}__gte": self.starts_at, f"{field_name}__lt": self.ends_at}

    def days(self, field_name: str) -> dict[str, date]:
        """Return a filter on days."""
        return {f"{field_name}__gte": self.from_day, f"{field_name}__lte": self.to_day}

    def of_chamber(self, path: str) -> dict[str, Chamber]:
        """Return a filter on the chamber, if the scope has one."""
        return {} if self.scope.chamber is None else {path: self.scope.chamber}

    def of_chamber_or_none(self, path: str) -> Q:
        """Return a filter on the chamber, if the scope has one, and on what belongs to the whole site."""
        return Q() if self.scope.chamber is None else Q(**{path: self.scope.chamber}) | Q(**{path: None})

    def at(self, value: datetime | None) -> str:
        """Return an instant as text in the site's zone, a dash for none."""
        return "\u2013" if value is None else instant_text(value, self.zone)

    def day(self, value: date | datetime | None) -> str:
        """Return a day as text; of an instant that of the site."""
        if value is None:
            return "\u2013"
        return day_text(value.astimezone(self.zone) if isinstance(value, datetime) else value)

    def local(self, value: datetime) -> date:
        """Return the civil day of an instant at the site."""
        return value.astimezone(self.zone).date()

    def numbers(self, model: type[models.Model], ids: Iterable[int]) -> Numbers:
        """Return the events behind rows of one kind."""
        return Numbers(first_events(model._meta.label_lower, list(ids)))


@dataclass(frozen=True, slots=True)
class Numbers:
    """The number of the first event of each row."""

    by_id: Mapping[int, int]

    def of(self, pk: int | None) -> str:
        """Return the number in words, or that there is none."""
        found = self.by_id.get(pk) if pk is not None else None
        return _("no event") if found is None else event_word(found)


def event_word(seq: int) -> str:
    """Return the number of an event in words."""
    return _("event %(number)d") % {"number": seq}


def months_of(from_day: date, to_day: date) -> list[tuple[date, date]]:
    """Return the months that these days touch, as first and last day, both ends cut to the days.

    >>> months_of(date(2026, 1, 30), date(2026, 2, 2))
    [(datetime.date(2026, 1, 30), datetime.date(2026, 1, 31)), (datetime.date(2026, 2, 1), datetime.date(2026, 2, 2))]
    """
    found, first = [], from_day
    while first <= to_day:
        nxt = (first.replace(day=1) + timedelta(days=32)).replace(day=1)
        found.append((first, min(to_day, nxt - timedelta(days=1))))
        first = nxt
    return found
