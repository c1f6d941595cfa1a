"""The exposure ledger of one person: what was taken under pressure, its sums, and from when the next time is allowed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from treatments.after.record import record_of
from treatments.after.signing import signatures_of
from treatments.compute.waits import waits
from treatments.figures.words import revision_words, wait_words
from treatments.models import Exposure, PressureWait, RunPlace, SignatureOf
from treatments.reference.laws import wait_rules

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from facility.models import Person
    from treatments.after.signing import Given

MONTH, YEAR = timedelta(days=30), timedelta(days=365)


@dataclass(frozen=True, slots=True)
class Total:
    """Sums of some exposures. ``uptd`` counts those whose dose is known; ``cns_unknown``: outside the table."""

    runs: int
    minutes: Decimal
    oxygen_min: Decimal
    uptd: Decimal
    deepest_fsw: Decimal | None
    cns_unknown: int


@dataclass(frozen=True, slots=True)
class Stated:
    """A wait of one revision that still runs."""

    what: str
    revision: str
    until: datetime
    about: str


@dataclass(frozen=True, slots=True)
class Ledger:
    """The ledger of a person as of an instant."""

    person: Person
    rows: tuple[Exposure, ...]
    month: Total
    year: Total
    ever: Total
    waits: tuple[PressureWait, ...]
    allowed_from: datetime | None
    stated: tuple[Stated, ...]
    not_closed: int


def total(rows: Iterable[Exposure]) -> Total:
    """Return the sums of exposures."""
    found = list(rows)
    return Total(
        len(found),
        sum((one.minutes for one in found), Decimal(0)),
        sum((one.oxygen_min for one in found), Decimal(0)),
        sum((one.uptd for one in found if one.uptd is not None), Decimal(0)),
        max((one.deepest_fsw for one in found), default=None),
        sum(1 for one in found if one.cns_fraction is None),
    )


def exposures_of(person: Person) -> list[Exposure]:
    """Return the exposures of a person that count, the newest first."""
    rows = Exposure.objects.filter(person=person, retired_at=None)
    return list(rows.select_related("run__chamber__site", "run__plan", "occupant").order_by("-ends_at", "-id"))


def ledger_of(person: Person, now: datetime) -> Ledger:
    """Return the ledger of a person: a number of queries that does not grow with the runs."""
    rows = exposures_of(person)
    running = list(
        PressureWait.objects.filter(person=person, retired_at=None, ends_at__gt=now).select_related("run").order_by("ends_at")
    )  # fmt: skip
    open_runs = RunPlace.objects.filter(
        person=person,
        inside=True,
        retired_at=None,
        run__ended_at__isnull=False,
        run__closed_at=None,
        run__retired_at=None,
    )
    return Ledger(
        person, tuple(rows),
        total(one for one in rows if one.ends_at > now - MONTH),
        total(one for one in rows if one.ends_at > now - YEAR),
        total(rows), tuple(running), max((one.ends_at for one in running), default=None),
        tuple(_stated(rows, now)), open_runs.count(),
    )  # fmt: skip


def _stated(rows: Iterable[Exposure], now: datetime) -> list[Stated]:
    """Return what the handbook's revisions state after each run and still lies ahead, the last instant of each kind."""
    rules = [rule for rule in wait_rules() if rule.person == "tender"]
    last: dict[tuple[str, str], Stated] = {}
    for row in rows:
        for one in waits(row.run.table_key, row.ends_at, ZoneInfo(row.run.chamber.site.zone), rules):
            if one.until is None or one.until <= now:
                continue
            key = (one.purpose, one.revision)
            if key not in last or last[key].until < one.until:
                last[key] = Stated(wait_words(one.purpose), revision_words(one.revision), one.until, one.about)
    return sorted(last.values(), key=lambda one: (one.until, one.what))


@dataclass(frozen=True, slots=True)
class LogbookRow:
    """One run in a personal log with the supervisor's signature under its record, if one was given."""

    exposure: Exposure
    role: str
    signed: Given | None


def logbook_of(person: Person, now: datetime) -> list[LogbookRow]:
    """Return the runs of a person, the oldest first, each with the newest signature of its supervisor."""
    found = []
    for one in reversed(exposures_of(person)):
        given = [sign for sign in signatures_of(record_of(one.run, now)) if sign.row.capacity == SignatureOf.SUPERVISOR]
        holding = [sign for sign in given if sign.holds]
        newest = holding[-1] if holding else given[-1] if given else None
        found.append(LogbookRow(one, one.occupant.get_role_display(), newest))
    return found
