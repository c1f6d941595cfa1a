"""The year's figures of plant, checks, drills and gas."""

from __future__ import annotations

from collections import defaultdict
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.compute.units import kpa_from
from facility.models import Check, CheckSheet, CheckState, Drill, DrillPart, Occasion, SheetVersion, ShutDown
from facility.reference import units
from facility.report import gaps
from facility.small_papers.year import Counting, Part
from facility.small_papers.year_runs import KPA_A_BAR, MINUTES_AN_HOUR, base_of, gas_used
from maintenance.compute.outage import together_min
from maintenance.models import (
    Calibration,
    Defect,
    DeliveredCylinder,
    Delivery,
    Equipment,
    EquipmentKind,
    QuarantineState,
)

if TYPE_CHECKING:
    from datetime import date, datetime

    from facility.small_papers.as_known import Row
    from facility.small_papers.year import Year

SECOND = timedelta(seconds=1)
IN_TOLERANCE = frozenset({"pass", "conditional pass"})
OUT_OF_TOLERANCE = frozenset({"fail", "conditional fail"})


def plant(year: Year, *, outside: bool) -> list[Part]:
    """Return the figures of the plant and what keeps it. ``outside``: as of runs()."""
    return [
        _checks(year),
        _defects(year),
        _downtime(year),
        _comparisons(year),
        _drills(year),
        _gas(year, outside=outside),
    ]


def _checks(year: Year) -> Part:
    counting = Counting(_("Checks"))
    sheets = {row.pk: row for row in year.known.every(CheckSheet)}
    begun = [row for row in year.known.of(Check) if year.has(row.instant("started_at"))]
    signed = [row for row in begun if row.text("state") == CheckState.SIGNED]
    for occasion in Occasion:
        rows = [row for row in signed if _occasion(row, sheets) == occasion]
        if rows:
            words = _("Signed, %(occasion)s") % {"occasion": occasion.label}
            counting.add(
                words, len(rows), _("checks begun in the year and signed, by the occasion of their sheet"), rows
            )
    late = [row for row in signed if row.late or row.yes("on_paper")]
    own = [row for row in late if not row.imported]
    counting.add(_("Entered late"), len(own), _("of these, those marked late in the log or keyed in from paper"), own)
    taken = [row for row in signed if row.imported]
    counting.add(
        _("Taken in from files"),
        len(taken),
        _("of these, those of older records that were imported; whether they were late is not known"),
        taken,
    )
    bad = [row for row in signed if row.text("result") != "passed"]
    counting.add(_("Not all within limits"), len(bad), _("of these, those with another result than passed"), bad)
    given_up = [row for row in begun if row.text("state") == CheckState.GIVEN_UP]
    counting.add(_("Given up"), len(given_up), _("checks begun in the year and given up"), given_up)
    _missed(year, signed, sheets, counting)
    return counting.part()


def _occasion(row: Row, sheets: dict[int, Row]) -> str:
    sheet = sheets.get(row.link("sheet_id"))
    return sheet.text("occasion") if sheet else ""


def _missed(year: Year, signed: list[Row], sheets: dict[int, Row], counting: Counting) -> None:
    """Count days and weeks for which a chamber owed a check and none was signed."""
    days, weeks = 0, 0
    last = min(year.last, year.known_on - gaps.DAY)
    for chamber in sorted({row.link("chamber_id") for row in sheets.values()}):
        closed = _closed(year, chamber)
        told = {
            occasion: {
                year.local(at) for row in signed
                if _occasion(row, sheets) == occasion and sheets[row.link("sheet_id")].link("chamber_id") == chamber
                and (at := row.instant("started_at")) is not None
            }
            for occasion in (Occasion.DAILY, Occasion.WEEKLY)
        }  # fmt: skip
        daily, weekly = (_owed_from(year, chamber, sheets, one) for one in (Occasion.DAILY, Occasion.WEEKLY))
        if daily is not None:
            owed = gaps.days_between(max(daily, year.first), last)
            days += sum(1 for day in owed if day not in told[Occasion.DAILY] and day not in closed)
        if weekly is not None:
            found = gaps.weeks_without(told[Occasion.WEEKLY], max(weekly, year.first), last, closed)
            weeks += sum(span.days // 7 for span in found)
    shut = [
        row
        for row in year.known.of(ShutDown)
        if year.starts_at < _instant(row, "ends_at") and _instant(row, "starts_at") < year.ends_at
    ]
    query = _(
        "whole days since the first daily sheet or check of a chamber, up to the day before the one as of which it is known, without a signed daily check; days on which the chamber was shut on purpose left out"
    )
    counting.add(_("Days without a daily check"), days, query, [*signed, *shut])
    counting.add(_("Weeks without a weekly check"), weeks, _("whole weeks from Monday, as above"), [*signed, *shut])


def _closed(year: Year, chamber: int) -> set[date]:
    found: set[date] = set()
    for row in year.known.of(ShutDown):
        if row.link("chamber_id") == chamber:
            found.update(
                gaps.days_between(year.local(_instant(row, "starts_at")), year.local(_instant(row, "ends_at")))
            )
    return found


def _owed_from(year: Year, chamber: int, sheets: dict[int, Row], occasion: str) -> date | None:
    """Return the day of the first sheet in force, or of the first check, of an occasion; None where there is none."""
    own = {
        pk
        for pk, row in sheets.items()
        if row.link("chamber_id") == chamber and row.text("occasion") == occasion and row.counts
    }
    versions = [row.instant("in_force_from") for row in year.known.every(SheetVersion) if row.link("sheet_id") in own]
    checks = [row.instant("started_at") for row in year.known.every(Check) if row.link("sheet_id") in own]
    known = [at for at in (*versions, *checks) if at is not None]
    return year.local(min(known)) if known else None


def _instant(row: Row, name: str) -> datetime:
    at = row.instant(name)
    if at is None:
        raise ValueError(f"row {row.pk} has no {name}")
    return at


def _defects(year: Year) -> Part:
    counting = Counting(_("Defects"))
    every = year.known.of(Defect)
    opened = [row for row in every if year.has(row.instant("found_at"))]
    closed = [row for row in every if year.has(row.instant("returned_at"))]
    still = [
        row for row in every
        if _instant(row, "found_at") < year.told_until and ((back := row.instant("returned_at")) is None or back >= year.told_until)
    ]  # fmt: skip
    counting.add(_("Opened"), len(opened), _("defects found in the year"), opened)
    counting.add(
        _("Closed"), len(closed), _("defects returned to service in the year, whenever they were found"), closed
    )
    counting.add(
        _("Open at the end"),
        len(still),
        _("defects found before the end of what is known of the year and not returned by then"),
        still,
    )
    hours = sorted((_instant(row, "returned_at") - _instant(row, "found_at")).total_seconds() / 3600 for row in closed)
    if hours:
        counting.add(
            _("Mean time to return"),
            f"{sum(hours) / len(hours):.1f}",
            _("from found to returned, of those closed in the year, each counted once"),
            closed,
            "h",
        )
        counting.add(_("Shortest and longest"), f"{hours[0]:.1f} \u2013 {hours[-1]:.1f}", _("of the same"), closed, "h")
    return counting.part()


def _downtime(year: Year) -> Part:
    """Return the hours that items and banks were out of service in the year, by the sort of thing."""
    counting = Counting(_("Time out of service"))
    rows = [row for row in year.known.of(Defect) if row.text("effect") == "stops"]
    items = {row.link("equipment_id") for row in rows} - {0}
    kinds = dict(Equipment.objects.filter(pk__in=items).values_list("pk", "kind"))
    groups: dict[str, dict[tuple[int, int], list[Row]]] = defaultdict(lambda: defaultdict(list))
    for row in rows:
        if _span(year, row) is not None:
            thing = (row.link("equipment_id"), row.link("bank_id"))
            sort = str(EquipmentKind(kinds[thing[0]]).label) if thing[0] in kinds else _("gas bank")
            groups[sort][thing].append(row)
    query = _(
        "hours of the year between found and returned, or the end of what is known, of each item or bank with a defect that takes it out; what two defects cover counts once"
    )
    total, figures = 0, []
    all_rows: list[Row] = []
    for sort, things in sorted(groups.items()):
        minutes = sum(
            together_min([span for row in some if (span := _span(year, row)) is not None]) for some in things.values()
        )
        behind = [row for some in things.values() for row in some]
        figures.append((sort, minutes, behind))
        total, all_rows = total + minutes, [*all_rows, *behind]
    counting.add(_("In all, each item by itself"), f"{total / MINUTES_AN_HOUR:.1f}", query, all_rows, "h")
    for sort, minutes, behind in figures:
        counting.add(sort, f"{minutes / MINUTES_AN_HOUR:.1f}", _("of these, by the sort of thing"), behind, "h")
    return counting.part(
        note=_(
            "The records name no cause of a defect in coarse words; time is told by what failed. An item out of service does not mean that the chamber was."
        )
    )


def _span(year: Year, row: Row) -> tuple[datetime, datetime] | None:
    start = max(_instant(row, "found_at"), year.starts_at)
    end = min(row.instant("returned_at") or year.told_until, year.told_until)
    return (start, end) if end > start else None


def _comparisons(year: Year) -> Part:
    counting = Counting(_("Comparisons of gauges and analysers"))
    rows = [row for row in year.known.of(Calibration) if year.has_day(row.day("done_on"))]
    past = {row.pk: (row.told("computed") or {}).get("past", "") for row in rows}
    counting.add(_("Comparisons"), len(rows), _("comparisons done in the year, those of a laboratory too"), rows)
    inside = [row for row in rows if past[row.pk] in IN_TOLERANCE]
    out = [row for row in rows if past[row.pk] in OUT_OF_TOLERANCE]
    rest = [row for row in rows if row not in inside and row not in out]
    counting.add(
        _("In tolerance as found"), len(inside), _("of these, by the decision rule chosen beforehand, as found"), inside
    )
    counting.add(_("Out of tolerance as found"), len(out), _("of these, as above"), out)
    counting.add(
        _("Not judged"), len(rest), _("of these, where the uncertainty was too large or nothing was judged"), rest
    )
    return counting.part()


def _drills(year: Year) -> Part:
    counting = Counting(_("Drills"))
    rows = [row for row in year.known.of(Drill) if year.has(row.instant("held_at"))]
    reached = [row for row in rows if row.yes("reached")]
    held = {row.pk for row in rows}
    parts = [row for row in year.known.of(DrillPart) if row.link("drill_id") in held]
    counting.add(_("Held"), len(rows), _("drills held in the year"), rows)
    counting.add(_("Goal reached"), len(reached), _("of these, those whose goal was reached"), reached)
    counting.add(
        _("People who took part"),
        len({row.link("person_id") for row in parts}),
        _("different people of the crew in these drills"),
        parts,
    )
    return counting.part()


def _gas(year: Year, *, outside: bool) -> Part:
    counting = Counting(_("Gas"))
    for gas, (rows, litres, unknown) in sorted(_delivered(year).items()):
        query = _(
            "cylinders accepted of deliveries received in the year: water capacity times pressure, ideal gas, not corrected for temperature; %(unknown)d without a pressure are not in it"
        ) % {"unknown": unknown}
        counting.add(_("Delivered: %(gas)s") % {"gas": gas}, f"{litres:.0f}", query, rows, "L")
    for gas, litres, rows, unknown in gas_used(year, base_of(year, outside=outside)):
        query = _(
            "for each bank the last reading before each run less the first after it, what two runs share counted once, times the water capacity; ideal gas, not corrected for temperature. Not in it, as a reading is missing or the pressure rose: %(unknown)d"
        ) % {"unknown": unknown}
        counting.add(_("Used in runs: %(gas)s") % {"gas": gas}, f"{litres:.0f}", query, rows, "L")
    return counting.part(note=_("Litres at about 1 bar, for the books. They are no basis for planning a run."))


def _delivered(year: Year) -> dict[str, tuple[list[Row], Decimal, int]]:
    """Return by gas the accepted cylinders of the year, their litres, and how many have no pressure on record."""
    deliveries = {row.pk: row for row in year.known.of(Delivery) if year.has(row.instant("received_at"))}
    found: dict[str, tuple[list[Row], Decimal, int]] = {}
    for row in year.known.of(DeliveredCylinder):
        delivery = deliveries.get(row.link("delivery_id"))
        if delivery is None or row.text("state") != QuarantineState.ACCEPTED:
            continue
        rows, litres, unknown = found.get(delivery.text("gas"), ([], Decimal(0), 0))
        pressure, water = row.number("pressure"), row.number("water_litres") or Decimal(0)
        if pressure is None:
            unknown += 1
        else:
            litres += kpa_from(pressure, row.text("unit"), units()) / KPA_A_BAR * water
        found[delivery.text("gas")] = ([*rows, row], litres, unknown)
    return found
