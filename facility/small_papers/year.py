"""One year of a site as known on a day: what its figures are counted from."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from facility.models import Check, CheckSheet, Drill, DrillPart, SheetVersion, ShutDown
from facility.small_papers.as_known import Known
from maintenance.models import BankReading, Calibration, Cylinder, Defect, DeliveredCylinder, Delivery
from treatments.models import Exposure, LogEntry, Run, Waiver

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.models import Site
    from facility.small_papers.as_known import Row

KINDS = (
    Run, Exposure, LogEntry, Waiver, Defect, Calibration, Delivery, DeliveredCylinder, BankReading, Cylinder, Check,
    CheckSheet, SheetVersion, ShutDown, Drill, DrillPart,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure. ``query``: what was counted, in words; ``records``: how many rows it rests on, ``newest``: the newest event of these.

    Both are None where the figure is kept back, since they would tell it.
    """

    part: str
    label: str
    value: str
    unit: str
    query: str
    records: int | None
    newest: int | None


@dataclass(frozen=True, slots=True)
class Part:
    """Figures that belong together. ``treated``: they count people treated, so small ones may be kept back."""

    title: str
    figures: tuple[Figure, ...]
    treated: bool = False
    note: str = ""


class Year:
    """A civil year of a site, told from what was recorded by the end of a day; of a day that is not over, until ``now``."""

    def __init__(self, site: Site, year: int, known_on: date, now: datetime) -> None:
        self.site, self.year, self.known_on = site, year, known_on
        self.zone = ZoneInfo(site.zone)
        self.first, self.last = date(year, 1, 1), date(year, 12, 31)
        self.starts_at, self.ends_at = self._begins(self.first), self._begins(date(year + 1, 1, 1))
        over_at = self._begins(known_on + timedelta(days=1))
        self.day_is_over, self.known_before = now >= over_at, min(now, over_at)
        self.known = Known(site, self.known_before, KINDS)

    def _begins(self, day: date) -> datetime:
        return datetime.combine(day, time(), tzinfo=self.zone)

    @property
    def told_until(self) -> datetime:
        """The instant up to which the year can be told: its end, or the instant up to which it is known."""
        return min(self.ends_at, self.known_before)

    def has(self, at: datetime | None) -> bool:
        """Return whether an instant lies in the year."""
        return at is not None and self.starts_at <= at < self.ends_at

    def has_day(self, day: date | None) -> bool:
        """Return whether a civil day lies in the year."""
        return day is not None and self.first <= day <= self.last

    def local(self, at: datetime) -> date:
        """Return the civil day of an instant at the site."""
        return at.astimezone(self.zone).date()


@dataclass(slots=True)
class Counting:
    """Collects the figures of one part."""

    title: str
    figures: list[Figure] = field(default_factory=list)

    def add(self, label: str, value: str | int, query: str, rows: Iterable[Row] | None, unit: str = "") -> None:
        """Add a figure that was counted from these rows; None: it is kept back, and so is what it rests on."""
        counted = None if rows is None else list(rows)
        records = None if counted is None else len(counted)
        newest = None if counted is None else max((row.last for row in counted), default=0)
        self.figures.append(Figure(self.title, label, str(value), unit, query, records, newest))

    def part(self, *, treated: bool = False, note: str = "") -> Part:
        """Return what was collected."""
        return Part(self.title, tuple(self.figures), treated, note)
