"""What the readings of checks tell when they are laid beside each other: values that never move, gauges that disagree."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from itertools import combinations
from typing import TYPE_CHECKING, Any, NamedTuple

from django.utils.translation import gettext as _

from facility.compute import typed
from facility.fields import day_text
from facility.models import Answer, Outcome, SheetVersion
from facility.reference import load
from facility.shown import instant_text
from maintenance.compute.cross_checks import same_values
from maintenance.compute.pairs import compare_gauges
from maintenance.gas_room.findings import Finding
from maintenance.models import Calibration, Equipment, EquipmentKind
from maintenance.reference import FOLDER

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from maintenance.gas_room.findings import Look


class Read(NamedTuple):
    """One reading of a check: which check and sheet, the step, the value, its unit, and when."""

    check: int
    sheet: int
    title: str
    step: str
    value: Decimal
    unit: str
    at: datetime


class Gauge(NamedTuple):
    """A depth gauge of a lock: its row, tag, lock, and full scale with its unit if a calibration tells it."""

    pk: int
    tag: str
    lock: int
    scale: Decimal | None
    unit: str


def of_checks(look: Look) -> Iterator[Finding]:
    """Yield what the readings of signed and open checks tell; four queries."""
    reads = sorted(_reads(look), key=lambda one: one.at)
    steps = _steps(look)
    yield from _still(look, reads, steps)
    yield from _pairs(look, reads, steps)


def _reads(look: Look) -> Iterator[Read]:
    rows = Answer.objects.filter(
        check_done__sheet__chamber__site=look.site, retired_at=None, recorded_at__gte=look.since,
        recorded_at__lte=look.now, outcome__in=(Outcome.GOOD, Outcome.BAD),
    ).exclude(value="").order_by("recorded_at", "id")  # fmt: skip
    for check, sheet, title, step, value, unit, occurred_at, recorded_at in rows.values_list(
        "check_done",
        "check_done__sheet",
        "check_done__sheet__title",
        "step",
        "value",
        "unit",
        "occurred_at",
        "recorded_at",
    ):
        number = _number(value)
        if number is not None:
            yield Read(check, sheet, title, step, number, unit, occurred_at or recorded_at)


def _number(text: str) -> Decimal | None:
    try:
        return Decimal(typed.number(text))
    except typed.TypedError:
        return None


def _steps(look: Look) -> dict[tuple[int, str], dict[str, Any]]:
    """Return the steps of the sheets as they are in force, by sheet and key."""
    rows = SheetVersion.objects.filter(sheet__chamber__site=look.site, retired_at=None).order_by("version")
    return {(sheet, step["key"]): step for sheet, steps in rows.values_list("sheet", "steps") for step in steps}


def _still(look: Look, reads: list[Read], steps: dict[tuple[int, str], dict[str, Any]]) -> Iterator[Finding]:
    """Values read off with a decimal that stayed the same to the last figure, day after day.

    A set-point stays by its nature, and so does a count such as masks fitted, typed without a decimal.
    """
    of_step: dict[tuple[int, str, str], list[Read]] = defaultdict(list)
    for one in reads:
        if one.value.as_tuple().exponent != 0 and not steps.get((one.sheet, one.step), {}).get("setpoint"):
            of_step[one.sheet, one.step, one.unit].append(one)
    least = max(2, int(look.house["same_value_days"]))
    for (sheet, step, unit), of_one in of_step.items():
        told = steps.get((sheet, step), {})
        readings = [(one.at.astimezone(look.zone), one.value) for one in of_one]
        for same in same_values(readings, least):
            first = _("%(value)s %(unit)s on %(begin)s") % {
                "value": same.value, "unit": unit, "begin": day_text(same.first_at)}  # fmt: skip
            second = _("the same %(count)d times until %(end)s") % {
                "count": same.readings, "end": day_text(same.last_at)}  # fmt: skip
            yield Finding(
                _("Same value day after day"), f"{told.get('text', step)} · {of_one[0].title}", first, second,
                _("%d days") % least, look.page("walk:sheet", sheet),
            )  # fmt: skip


def _gauges(look: Look) -> dict[str, Gauge]:
    """Return the depth gauges of locks by tag, with the scale of their newest calibration."""
    rows = Equipment.objects.filter(
        site=look.site, retired_at=None, kind=EquipmentKind.DEPTH_GAUGE, lock__isnull=False
    ).values_list("pk", "tag", "lock")  # fmt: skip
    newest = Calibration.objects.filter(equipment__site=look.site, retired_at=None).order_by("done_on", "id")
    scales = {
        pk: (high - low, unit)
        for pk, low, high, unit in newest.values_list("equipment", "scale_low", "scale_high", "unit")
    }
    found = {}
    for pk, tag, lock in rows:
        scale, unit = scales.get(pk, (None, ""))
        found[tag] = Gauge(pk, tag, int(lock or 0), scale, unit)
    return found


def _pairs(look: Look, reads: list[Read], steps: dict[tuple[int, str], dict[str, Any]]) -> Iterator[Finding]:
    """Compare two depth gauges of one lock, read in one check and unit, by the newest calibration's full scale."""
    gauges = _gauges(look)
    of_check: dict[int, list[tuple[Gauge, Read]]] = defaultdict(list)
    for one in reads:
        gauge = gauges.get(str(steps.get((one.sheet, one.step), {}).get("tag", "")))
        if gauge is not None:
            of_check[one.check].append((gauge, one))
    limit = load(FOLDER / "comparisons.toml")["gauge_pair"].number
    for read in of_check.values():
        for (first, one), (second, other) in combinations(read, 2):
            if first.lock == second.lock and first.pk != second.pk and one.unit == other.unit:
                yield from _pair(look, (first, one), (second, other), limit)


def _pair(look: Look, one: tuple[Gauge, Read], other: tuple[Gauge, Read], limit: Decimal) -> Iterator[Finding]:
    (first, read), (second, beside) = one, other
    if not first.scale or first.unit != read.unit:
        return  # its full scale is not on record in this unit: nothing to compare with
    found = compare_gauges(read.value, beside.value, first.scale, limit, read.unit)
    if not found.needs_test:
        return
    about = _("%(first)s and %(second)s, %(at)s") % {
        "first": first.tag, "second": second.tag, "at": instant_text(read.at, look.zone)}  # fmt: skip
    yield Finding(
        _("Two gauges of one lock"), about, f"{first.tag} {read.value} {read.unit}",
        f"{second.tag} {beside.value} {beside.unit}",
        _("%(limit)s %(unit)s, %(percent)s %% of full scale") % {
            "limit": f"{found.limit.normalize():f}", "unit": found.unit, "percent": limit},
        look.page("walk:check", read.check),
        look.defect(_("Two gauges of one lock disagree: %s") % about, equipment=second.pk),
    )  # fmt: skip
