"""The year's figures of runs: by purpose and table, hours under pressure, outcomes in coarse words, waivers, gas used."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.compute.units import kpa_from
from facility.reference import units
from facility.small_papers.small_numbers import kept_back, total_told
from facility.small_papers.year import Counting, Part
from maintenance.models import BankReading, Cylinder, GasBank
from treatments.compute.log_kinds import OUTCOMES
from treatments.models import Exposure, LogEntry, LogKind, Need, Plan, Purpose, Run, Waiver

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    from facility.small_papers.as_known import Row
    from facility.small_papers.year import Year

FEWER = "<5"
KPA_A_BAR = Decimal(100)
MINUTES_AN_HOUR = 60


def runs_of(year: Year) -> list[Row]:
    """Return the runs that left surface in the year."""
    return [row for row in year.known.of(Run) if year.has(row.instant("started_at"))]


def treated_of(found: Iterable[Row]) -> list[Row]:
    """Return the runs for treatment."""
    return [row for row in found if row.text("purpose") == Purpose.TREATMENT]


def base_of(year: Year, *, outside: bool) -> list[Row]:
    """Return the runs that sums over all purposes are made of: without those for treatment where a sum would give these away."""
    found = runs_of(year)
    if not outside or total_told([len(treated_of(found))]):
        return found
    return [row for row in found if row.text("purpose") != Purpose.TREATMENT]


def runs(year: Year, *, outside: bool) -> list[Part]:
    """Return the figures of runs. ``outside``: small numbers of people treated are kept back."""
    found, base = runs_of(year), base_of(year, outside=outside)
    counting = Counting(_("Runs"))
    left = _("runs that left surface in the year")
    if len(base) == len(found):
        counting.add(_("Runs"), len(found), left, found)
    else:
        counting.add(
            _("Runs but those for treatment"),
            len(base),
            _("runs that left surface in the year, those for treatment left out here and below"),
            base,
        )
    for purpose in (Purpose.TRAINING, Purpose.TEST):
        rows = [row for row in found if row.text("purpose") == purpose]
        counting.add(
            _("for %(purpose)s") % {"purpose": purpose.label}, len(rows), _("of these, those of that purpose"), rows
        )
    _hours(year, base, counting)
    outside_rules = [row for row in base if row.yes("outside_house_rules")]
    counting.add(_("Outside the house rules"), len(outside_rules), _("of these, those that started so"), outside_rules)
    closed = [row for row in base if row.text("closed_at")]
    counting.add(_("Records closed"), len(closed), _("of these, those whose record was closed"), closed)
    return [counting.part(), _tables(found, outside=outside), _outcomes(year, found, outside=outside), _waivers(year)]


def _hours(year: Year, found: list[Row], counting: Counting) -> None:
    ended = [row for row in found if row.text("ended_at")]
    minutes = sum(
        ((_at(row, "ended_at") - _at(row, "started_at")).total_seconds() / MINUTES_AN_HOUR for row in ended), 0.0
    )
    counting.add(
        _("Time of the chamber under pressure"), f"{minutes / MINUTES_AN_HOUR:.1f}",
        _("from leaving surface to reaching it, all locks as one, runs of the year that have ended"), ended, "h",
    )  # fmt: skip
    crew = [row for row in year.known.of(Exposure) if row.link("person_id") and year.has(row.instant("ends_at"))]
    spent = sum((row.number("minutes") or Decimal(0) for row in crew), Decimal(0))
    counting.add(
        _("Time of the crew under pressure"), f"{spent / MINUTES_AN_HOUR:.1f}",
        _("minutes of everybody of the crew in runs that were closed, by the end of the exposure"), crew, "h",
    )  # fmt: skip


def _at(row: Row, name: str) -> datetime:
    at = row.instant(name)
    if at is None:
        raise ValueError(f"run {row.pk} has no {name}")
    return at


def _tables(found: list[Row], *, outside: bool) -> Part:
    """Return the treatments by table: what is counted are runs, yet with few of them somebody treated can be known."""
    treated = treated_of(found)
    names = dict(Plan.objects.filter(pk__in={row.link("plan_id") for row in treated}).values_list("pk", "name"))
    groups: dict[str, list[Row]] = defaultdict(list)
    for row in treated:
        groups[names.get(row.link("plan_id"), _("no table"))].append(row)
    query = _("runs for treatment that left surface in the year, by the plan they were run by")
    return _treated(_("Runs for treatment"), groups, query, outside=outside)


def _treated(title: str, groups: Mapping[str, list[Row]], query: str, *, outside: bool) -> Part:
    """Return counts of groups and their total; small ones kept back with the number of records behind them."""
    counting = Counting(title)
    ordered = sorted(groups.items())
    counts = [len(rows) for _name, rows in ordered]
    hidden = kept_back(counts) if outside else [False] * len(counts)
    every = [row for _name, rows in ordered for row in rows]
    shown = not outside or total_told(counts)
    counting.add(_("In all"), len(every) if shown else FEWER, query, every if shown else None)
    for (name, rows), hide in zip(ordered, hidden, strict=True):
        counting.add(name, _("kept back") if hide else len(rows), _("of these"), None if hide else rows)
    note = (
        _(
            "A number from 1 to 4 is kept back, and one more where the sum would give it away: in a small place one of few can be known. A director or supervisor can print the exact numbers for the house."
        )
        if outside
        else _("Exact numbers, for the house only: in a small place one of few can be known by them.")
    )
    return counting.part(treated=True, note=note)


def _outcomes(year: Year, found: list[Row], *, outside: bool) -> Part:
    """Return the newest outcome that was logged of each person treated in a run, in the log's coarse words."""
    runs_here = {row.pk for row in treated_of(found)}
    newest: dict[tuple[int, int], Row] = {}
    for row in year.known.of(LogEntry):
        if row.text("kind") == LogKind.OUTCOME and row.link("run_id") in runs_here:
            newest[row.link("run_id"), row.link("occupant_id")] = row
    words = {code: str(label) for code, label in OUTCOMES}
    groups: dict[str, list[Row]] = defaultdict(list)
    for row in newest.values():
        code = (row.told("values") or {}).get("code", "")
        groups[_(words[code]) if code in words else _("no coarse word")].append(row)
    query = _(
        "of the runs for treatment above: the newest outcome logged for each person treated, in the log's own coarse words; a run without one is not counted"
    )
    return _treated(_("Outcomes as logged"), groups, query, outside=outside)


def _waivers(year: Year) -> Part:
    counting = Counting(_("Waivers"))
    rows = [row for row in year.known.every(Waiver) if not row.superseded and year.has(row.instant("starts_at"))]
    counting.add(_("Waivers granted"), len(rows), _("waivers that begin in the year, those ended early too"), rows)
    spoken = [row for row in rows if row.yes("spoken") and not row.text("countersigned_at")]
    counting.add(
        _("Still without a countersign"),
        len(spoken),
        _("of these, granted by telephone and not countersigned by then"),
        spoken,
    )
    names = dict(Need.objects.filter(pk__in={row.link("need_id") for row in rows}).values_list("pk", "name"))
    groups: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        groups[names.get(row.link("need_id"), _("the crew"))].append(row)
    for name, some in sorted(groups.items()):
        counting.add(_("of: %(need)s") % {"need": name}, len(some), _("of these, by what was waived"), some)
    return counting.part()


def gas_used(year: Year, found: Iterable[Row]) -> list[tuple[str, Decimal, list[Row], int]]:
    """Return for each gas the litres that left the banks in runs, the readings behind it, and how many spans cannot be told.

    Units: L at about 1 bar. Each run has for each bank a span from the last reading before it to the first after it;
    spans that overlap are one. Where the pressure rose, or a reading is missing, it cannot be told. Ideal gas, no
    correction for temperature.
    """
    banks = dict(GasBank.objects.filter(site=year.site).values_list("pk", "gas"))
    water: dict[int, Decimal] = defaultdict(Decimal)
    for row in year.known.of(Cylinder):
        water[row.link("bank_id")] += row.number("water_litres") or Decimal(0)
    readings = _readings(year)
    runs = sorted((_at(row, "started_at"), _at(row, "ended_at")) for row in found if row.text("ended_at"))
    used: dict[str, tuple[Decimal, list[Row], int]] = {}
    for bank, gas in banks.items():
        litres, rows, unknown = used.get(gas, (Decimal(0), [], 0))
        spans, missing = _spans(readings.get(bank, []), runs)
        falls = [_bar(before) - _bar(after) for before, after in spans]
        told = [(fall, pair) for fall, pair in zip(falls, spans, strict=True) if fall >= 0]
        litres += sum((fall * water[bank] for fall, _pair in told), Decimal(0))
        behind = [row for _fall, pair in told for row in pair]
        used[gas] = (litres, [*rows, *behind], unknown + missing + len(spans) - len(told))
    return [(gas, *figures) for gas, figures in sorted(used.items())]


def _readings(year: Year) -> dict[int, list[Row]]:
    found: dict[int, list[Row]] = defaultdict(list)
    for row in year.known.of(BankReading):
        if not row.link("cylinder_id") and row.text("read_at"):
            found[row.link("bank_id")].append(row)
    for rows in found.values():
        rows.sort(key=lambda row: (_at(row, "read_at"), row.pk))
    return found


def _spans(rows: list[Row], runs: Iterable[tuple[datetime, datetime]]) -> tuple[list[tuple[Row, Row]], int]:
    """Return the readings before and after runs, spans that overlap as one, and how many runs have none of both."""
    places: list[tuple[int, int]] = []
    missing = 0
    for start, end in runs:
        before = sum(1 for row in rows if _at(row, "read_at") <= start) - 1
        after = next((place for place, row in enumerate(rows) if _at(row, "read_at") >= end), None)
        if before < 0 or after is None:
            missing += 1
        elif places and before < places[-1][1]:
            places[-1] = (places[-1][0], max(after, places[-1][1]))
        else:
            places.append((before, after))
    return [(rows[before], rows[after]) for before, after in places], missing


def _bar(row: Row) -> Decimal:
    return kpa_from(row.number("pressure") or Decimal(0), row.text("unit"), units()) / KPA_A_BAR
