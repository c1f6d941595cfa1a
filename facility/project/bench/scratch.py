"""A scratch database, and invented facilities of any size written straight into it."""

from __future__ import annotations

import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from django.db import connection
from django.db.models import Model

from facility.models import (
    Chamber,
    Check,
    CheckSheet,
    DutyPeriod,
    MedicalFitness,
    Organisation,
    Person,
    QualificationHeld,
    QualificationKind,
    SheetVersion,
    Site,
)
from facility.project.bench import scratch_plant

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

Row = TypeVar("Row", bound=Model)
AT = datetime(2026, 11, 27, 10, 0, tzinfo=UTC)
TODAY = AT.date()
SKILLS = ("panel-operator", "inside-tender", "supervisor", "gas")
SHIFT = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class Size:
    """How large each invented facility is, and how many months of records it has."""

    items: int = 300
    people: int = 30
    plans: int = 12
    needs: int = 40
    months: int = 120


@contextmanager
def scratch_database() -> Iterator[None]:
    """Work in an empty database of the same kind; the installation's own is not touched."""
    with tempfile.TemporaryDirectory() as folder:
        if connection.vendor == "sqlite":
            connection.settings_dict["TEST"]["NAME"] = str(Path(folder) / "scratch.sqlite3")
        own = connection.settings_dict["NAME"]
        connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
        try:
            yield
        finally:
            connection.creation.destroy_test_db(own, verbosity=0)


def bulk(rows: Iterable[Row]) -> list[Row]:
    """Store many rows at once, without services: nobody acts here."""
    found = list(rows)
    for row in found:
        row.recorded_at, row.recorded_by = AT - timedelta(days=1), "system:bench"  # type: ignore[attr-defined]
    model: Any = type(found[0]) if found else None
    return model._default_manager.bulk_create(found, batch_size=2000) if found else []


def facilities(number: int, size: Size, *, prefix: str = "f") -> list[Chamber]:
    """Store facilities, one chamber each, and return their chambers."""
    (house,) = bulk([Organisation(key=f"{prefix}-house", name="Bench")])
    sites = bulk(
        Site(organisation=house, key=f"{prefix}-{i}", name=f"Site {i}", zone="Europe/Oslo") for i in range(number)
    )
    chambers = bulk(Chamber(site=site, key="chamber-1", name="Chamber 1") for site in sites)
    kinds = bulk(QualificationKind(organisation=house, key=skill, name=skill.capitalize()) for skill in SKILLS)
    people = bulk(Person(site=site, key=f"p-{i:02d}", name=f"Person {i}") for site in sites for i in range(size.people))
    _crew(people, kinds, size)
    sheets = _checks(chambers, size)
    scratch_plant.plant(chambers, sheets, size)
    connection.cursor().execute("ANALYZE")
    return chambers


def _crew(people: list[Person], kinds: list[QualificationKind], size: Size) -> None:
    """Renew a qualification each two years, a medical each year; a shift of duty each third day."""
    starts = range(30 * size.months, -1, -730)
    bulk(
        QualificationHeld(
            person=person, kind=kinds[(i + j) % len(kinds)], issued_on=TODAY - timedelta(days=ago % 730 + 730 * k),
            expires_on=TODAY - timedelta(days=ago % 730 + 730 * k - 730), second_look_by="Somebody",
        )
        for i, person in enumerate(people) for j in range(2) for k, ago in enumerate(starts)
    )  # fmt: skip
    bulk(
        MedicalFitness(
            person=person, examined_on=TODAY - timedelta(days=100 + 365 * k),
            good_until=TODAY - timedelta(days=365 * (k - 1) + 100), outcome="fit",
        )
        for person in people for k in range(max(1, size.months // 12))
    )  # fmt: skip
    bulk(
        DutyPeriod(person=person, starts_at=start, ends_at=start + 2 * SHIFT)
        for i, person in enumerate(people) for start in _days(size.months, ahead=14, step=3, first=i % 3)
    )  # fmt: skip


def _checks(chambers: list[Chamber], size: Size) -> list[CheckSheet]:
    """Sign a daily sheet every day."""
    sheets = bulk(
        CheckSheet(chamber=chamber, key="daily", title="Daily check", occasion="daily") for chamber in chambers
    )
    versions = bulk(
        SheetVersion(sheet=sheet, version=1, steps=[], approved_by="Bench", in_force_from=AT - timedelta(days=9999))
        for sheet in sheets
    )
    bulk(
        Check(
            sheet=sheet, version=version, number=number, state="signed", started_at=at, started_by="Bench",
            signed_at=at, signed_by="Bench", result="passed",
        )
        for sheet, version in zip(sheets, versions, strict=True)
        for number, at in enumerate(_days(size.months), 1)
    )  # fmt: skip
    return sheets


def _days(months: int, *, ahead: int = 0, step: int = 1, first: int = 0) -> Iterator[datetime]:
    """Give an hour of each day from some months ago until now, or some days ahead."""
    begin = AT - timedelta(days=30 * months, hours=4)
    for number in range(first, 30 * months + ahead + 1, step):
        yield begin + timedelta(days=number)


def day_before(days: int) -> date:
    """Return the civil date so many days ago."""
    return TODAY - timedelta(days=days)
