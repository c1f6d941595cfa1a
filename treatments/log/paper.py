"""The log on paper: its columns, and keying its lines in afterwards, all or none, with its scan."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services
from treatments.compute.log_kinds import KINDS, Asked, Form
from treatments.compute.log_times import typed_time
from treatments.compute.log_values import LogDoubtError, LogRefusedError
from treatments.log.services import Given, add_entry, locked
from treatments.log.wording import refusal
from treatments.models import LogKind

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import date

    from facility.events import Actor
    from facility.models import Evidence, Site
    from treatments.log.services import Surface

#: lines on one sheet of paper, and on one page of keying in
LINES = 22
#: a line this much earlier than the one above it was written after midnight
HALF_DAY = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class Written:
    """One line as it stands on the paper, by its number."""

    number: int
    clock: str
    kind: str
    occupant: int | None = None
    depth: str = ""
    depth_unit: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    remark: str = ""
    sure: bool = False


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet of the log: the day of its first line, its lines, its scan. ``client_id`` makes a repeat harmless."""

    day: date
    lines: Sequence[Written]
    client_id: uuid.UUID
    scan: Evidence | None = None
    reason: str = ""


class PaperLogError(ValidationError):
    """Lines that could not be taken, each with a sentence; ``asked``: those that only ask once."""

    def __init__(self, by_line: dict[int, str], asked: set[int]) -> None:
        super().__init__(_("Some lines need another look. Nothing is stored yet."), code="paper")
        self.by_line, self.asked = by_line, asked


def columns() -> list[tuple[str, str]]:
    """Return the columns of values: key and head, as on the screen."""
    reading = KINDS["reading"].values
    return [(one.key, f"{_(one.label)} {one.unit}".strip()) for one in reading if one.form is Form.NUMBER]


def paper_heads() -> list[str]:
    """Return the heads of the same columns, short enough for paper."""
    short = {
        "o2_percent": "O2 %", "co2_percent": _("CO2 %, surface equiv."), "temperature_c": "°C", "humidity_percent": "% RH",
        "ventilation_acfm": "acfm", "bank_pressure": _("O2 bank, with unit"),
    }  # fmt: skip
    return [short.get(key, head) for key, head in columns()]


@transaction.atomic
def key_in(
    run_pk: int, sheet: Sheet, look_up: Callable[[datetime], Surface], *, site: Site, by: Actor
) -> int:  # fmt: skip
    """Store the lines of a sheet and return how many are new; all of them or none.

    ``look_up``: what readiness says for the time at which the paper left surface.
    Errors: PaperLogError naming each line not taken; ValidationError for a sheet without lines.
    """
    run = locked(run_pk, site)
    if not sheet.lines and sheet.scan is None:
        raise ValidationError(_("No line has an entry. Key in what stands on the paper."), code="empty")
    times, refused = _times(sheet, site)
    asked: set[int] = set()
    new = 0
    for line in sheet.lines:
        if line.number not in times:
            continue
        try:
            surface = look_up(times[line.number]) if line.kind == LogKind.LEFT_SURFACE else None
            stored = add_entry(run.pk, _given(sheet, line, times[line.number], surface), site=site, by=by)
            new += not stored.repeat
        except LogDoubtError as error:
            refused[line.number] = refusal(error)
            asked.add(line.number)
        except (LogRefusedError, ValidationError) as error:
            refused[line.number] = refusal(error)
    if refused:
        raise PaperLogError(refused, asked)
    if sheet.scan is not None:
        _attach(run_pk, sheet.scan, site, by=by)
    return new


def _times(sheet: Sheet, site: Site) -> tuple[dict[int, datetime], dict[int, str]]:
    """Return when each line happened, and what is wrong with the times of others."""
    zone, now = ZoneInfo(site.zone), events.now()
    near = datetime.combine(sheet.day, time(23, 59, 59), zone).astimezone(UTC)
    times: dict[int, datetime] = {}
    refused: dict[int, str] = {}
    for line in sheet.lines:
        try:
            at = typed_time(line.clock, zone, min(near, now))
        except LogRefusedError as error:
            refused[line.number] = refusal(error)
            continue
        times[line.number], near = at, at + HALF_DAY
    return times, refused


def _given(sheet: Sheet, line: Written, at: datetime, surface: Surface | None) -> Given:
    kind = KINDS.get(line.kind)
    person = line.occupant if kind is None or kind.occupant is not Asked.NO else None
    return Given(
        client_id=uuid.uuid5(sheet.client_id, str(line.number)), kind=line.kind, occupant=person, depth=line.depth,
        depth_unit=line.depth_unit, values=line.values, remark=line.remark, happened_at=at, sure=line.sure,
        reason=sheet.reason, from_paper=True, surface=surface,
    )  # fmt: skip


def _attach(run_pk: int, scan: Evidence, site: Site, *, by: Actor) -> None:
    run = locked(run_pk, site)
    if run.paper_id == scan.pk:
        return
    run.paper = scan
    reason = _("Scan of the paper log.")
    services.change(run, by=by, reason=reason, shown_version=run.row_version, action="paper log attached")
