"""When each row of an instrument's text was: elapsed time, clock times of the site, or instants with their offset."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from treatments.compute.instrument import InstrumentError, TimeForm
from treatments.compute.sample_rows import Rows, numbers_of

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

DAY_S, HALF_DAY_S = 86400.0, 43200.0


def times_of(rows: Rows, zone: ZoneInfo) -> tuple[list[float], datetime | None]:
    """Return seconds from the first row, and its instant if the form of time tells it. Errors: InstrumentError."""
    form = rows.layout.time_form
    if form in {TimeForm.SECONDS, TimeForm.MINUTES}:
        factor = 60.0 if form is TimeForm.MINUTES else 1.0
        found = [(one or 0.0) * factor for one in numbers_of(rows, rows.layout.time, "time")]
        return [one - found[0] for one in found], None
    if form is TimeForm.HMS:
        found = [_hms(cell, row) for cell, row in zip(rows.column(rows.layout.time), rows.numbers, strict=True)]
        return [one - found[0] for one in found], None
    return _by_clock(rows, zone) if form is TimeForm.CLOCK else _by_instant(rows, zone)


def _hms(cell: str, row: int) -> float:
    try:
        hours, minutes, seconds = cell.split(":")
        found = int(hours) * 3600.0 + int(minutes) * 60.0 + float(seconds.replace(",", "."))
        if 0 <= int(minutes) < 60 and 0 <= float(seconds.replace(",", ".")) < 61 and found >= 0:  # noqa: PLR2004
            return found
    except ValueError:
        pass
    raise InstrumentError(
        "Row %(row)s, time: “%(cell)s” is not h:mm:ss, such as 1:04:30. Two figures alone may be hours and minutes or"
        " minutes and seconds: choose another form of time, or export all three.", row=row, cell=cell[:40],
    )  # fmt: skip


def _by_clock(rows: Rows, zone: ZoneInfo) -> tuple[list[float], datetime]:
    """Return seconds from clock times of the site; past midnight a new day begins."""
    day = rows.layout.day
    if day is None:
        raise InstrumentError("Clock times need the day of the first row. Give it.")
    clock = [_hms(cell, row) for cell, row in zip(rows.column(rows.layout.time), rows.numbers, strict=True)]
    days = 0.0
    found = []
    for last, one in pairwise([clock[0], *clock]):
        if one < last - HALF_DAY_S:
            days += DAY_S
        found.append(one + days - clock[0])
    midnight = datetime(day.year, day.month, day.day, tzinfo=zone)
    begins = midnight + timedelta(seconds=clock[0])
    ends = begins + timedelta(seconds=found[-1])
    if midnight.utcoffset() != ends.utcoffset() or begins.utcoffset() != ends.utcoffset():
        raise InstrumentError(
            "The clocks change between %(begin)s and %(end)s: clock times do not say how long that was. Export"
            " elapsed time, or times with their offset.", begin=f"{begins:%Y-%m-%d %H:%M}", end=f"{ends:%Y-%m-%d %H:%M}",
        )  # fmt: skip
    return found, begins.astimezone(UTC)


def _by_instant(rows: Rows, zone: ZoneInfo) -> tuple[list[float], datetime]:
    found: list[datetime] = []
    for cell, row in zip(rows.column(rows.layout.time), rows.numbers, strict=True):
        try:
            moment = datetime.fromisoformat(cell.strip())
        except ValueError:
            raise _no_instant(cell, row) from None
        if moment.tzinfo is None:
            raise _no_instant(cell, row)
        found.append(moment)
    _refuse_mixed(found, rows, zone)
    stamps = [one.timestamp() for one in found]
    return [one - stamps[0] for one in stamps], found[0].astimezone(UTC)


def _no_instant(cell: str, row: int) -> InstrumentError:
    return InstrumentError(
        "Row %(row)s, time: “%(cell)s” is not a day and time with a zone, such as 2026-03-12T14:05:00+01:00. Without"
        " Z or an offset nobody can tell which zone is meant: export it with one.", row=row, cell=cell[:40],
    )  # fmt: skip


def _refuse_mixed(found: list[datetime], rows: Rows, zone: ZoneInfo) -> None:
    """Refuse a mix of zones, unless each offset is the site's own at its time, as over a change of clocks."""
    offsets = [one.utcoffset() for one in found]
    if len(set(offsets)) == 1:
        return
    for offset, moment in zip(offsets, found, strict=True):
        if offset != moment.astimezone(zone).utcoffset():
            other = next(n for n, one in enumerate(offsets) if one != offsets[0])
            raise InstrumentError(
                "The rows have %(count)s different offsets from UTC: row %(first)s says %(one)s, row %(second)s says"
                " %(two)s. Nobody can tell whether the clock was set or two records were joined. Export the record in"
                " one zone, or take the rows of one zone only.",
                count=len(set(offsets)), first=rows.numbers[0], one=f"{found[0]:%z}", second=rows.numbers[other],
                two=f"{found[other]:%z}",
            )  # fmt: skip


def refuse_jump(times_s: list[float], rows: Rows) -> None:
    """Refuse times that go back. Errors: InstrumentError naming both rows and what to take instead."""
    place = next((n for n, (one, after) in enumerate(pairwise(times_s), 1) if after < one), None)
    if place is None:
        return
    cells = rows.column(rows.layout.time)
    raise InstrumentError(
        "Row %(row)s, time: “%(cell)s” is before “%(last)s” of the row before. The clock of the instrument jumped."
        " Take the rows up to %(before)s, or those from %(row)s on, each as a record of its own.",
        row=rows.numbers[place], cell=cells[place], last=cells[place - 1], before=rows.numbers[place - 1],
    )  # fmt: skip
