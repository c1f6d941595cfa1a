"""Acts of upkeep beside work: counters read and meters replaced, events, looks that put an act off, rules."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import services
from facility.fields import day_text
from maintenance.compute.counters import CounterError, MeterReplacement, Reading, offset_on, running_total
from maintenance.models import Counter, CounterReading
from maintenance.upkeep.looks import Look, judge_look

if TYPE_CHECKING:
    from datetime import date, datetime

    from facility.events import Actor
    from facility.models import Chamber
    from maintenance.models import Deferral, Happening, IntervalRule
    from maintenance.models import MeterReplacement as Replaced
    from maintenance.upkeep.state import On

LOWER = "lower"
"""Code of a refusal: a counter would have gone down."""


@dataclass(frozen=True, slots=True)
class Meters:
    """What is on record of one counter: readings with their days, and meters replaced."""

    readings: tuple[Reading, ...]
    replaced: tuple[MeterReplacement, ...]

    @property
    def total(self) -> tuple[Reading, ...]:
        """The running total. Errors: CounterError."""
        return running_total(self.readings, self.replaced)


def meters_of(counter: Counter) -> Meters:
    """Return what is on record of a counter, days in its site's zone."""
    zone = ZoneInfo(counter.site.zone)
    rows = counter.readings.filter(retired_at=None).order_by("read_at", "pk").values_list("read_at", "value")
    changes = counter.replacements.filter(retired_at=None).order_by("replaced_on", "pk")
    return Meters(
        tuple(Reading(at.astimezone(zone).date(), value) for at, value in rows),
        tuple(MeterReplacement(one.replaced_on, one.last_of_old, one.first_of_new) for one in changes),
    )


@transaction.atomic
def read_counter(reading: CounterReading, *, by: Actor, late: bool = False) -> CounterReading:
    """Store what a counter showed.

    Errors: ValidationError of code LOWER if it would have gone down, or another if a field refuses it.
    """
    Counter.objects.select_for_update().get(pk=reading.counter_id)
    on = reading.read_at.astimezone(ZoneInfo(reading.counter.site.zone)).date()
    meters = meters_of(reading.counter)
    try:
        running_total((*meters.readings, Reading(on, reading.value)), meters.replaced)
        _refuse_down_within_day(reading, on, meters)
    except CounterError:
        last = max((one for one in meters.readings if one.on <= on), key=lambda one: one.on, default=None)
        said = {
            "value": f"{reading.value:f}",
            "last": f"{last.value:f}" if last else "0",
            "on": day_text(last.on if last else on),
        }
        words = _(
            "%(value)s does not fit the readings around it: a counter only goes up, and it showed %(last)s on %(on)s."
            " Read it again. If the meter was replaced or set, record that: both values are kept."
        )
        raise ValidationError({"value": ValidationError(words % said, code=LOWER)}) from None
    reading.occurred_at = reading.read_at
    return services.add(reading, by=by, action="counter read", late=late)


def _refuse_down_within_day(reading: CounterReading, on: date, meters: Meters) -> None:
    """Compare by the hour what the running total, which knows days only, cannot tell apart.

    Errors: CounterError if an earlier reading of the same day is higher, or a later one lower. A day on which the
    meter was replaced is left to the running total.
    """
    if any(one.on == on for one in meters.replaced):
        return
    zone = ZoneInfo(reading.counter.site.zone)
    rows = reading.counter.readings.filter(retired_at=None).values_list("read_at", "value")
    same_day = [(at, value) for at, value in rows if at.astimezone(zone).date() == on]
    down = any(value > reading.value if at <= reading.read_at else value < reading.value for at, value in same_day)
    if down:
        raise CounterError(f"Reading {reading.value} on {on} does not fit the others of that day.")


@transaction.atomic
def replace_meter(replaced: Replaced, *, by: Actor) -> Replaced:
    """Store that a meter was replaced or set: the running total goes on from the old one's last value.

    Errors: ValidationError if the old one's last value is less than was read of it, or later readings do not fit.
    """
    Counter.objects.select_for_update().get(pk=replaced.counter_id)
    meters = meters_of(replaced.counter)
    change = MeterReplacement(replaced.replaced_on, replaced.last_of_old, replaced.first_of_new)
    before = [one for one in meters.readings if one.on < replaced.replaced_on]
    if before and replaced.last_of_old < before[-1].value:
        said = {"value": f"{replaced.last_of_old:f}", "last": f"{before[-1].value:f}", "on": day_text(before[-1].on)}
        words = _("%(value)s is less than the %(last)s that it showed on %(on)s. Read the old meter again.")
        raise ValidationError({"last_of_old": words % said})
    try:
        running_total(meters.readings, (*meters.replaced, change))
    except CounterError:
        raise ValidationError(
            {"replaced_on": _("A reading of that day or later would then go down. Check the day and the two values.")}
        ) from None
    return services.add(replaced, by=by, action="meter replaced")


def add_happening(happening: Happening, *, by: Actor, late: bool = False) -> Happening:
    """Store that something happened to an item. Errors: ValidationError if a field refuses it."""
    return services.add(happening, by=by, action="event recorded", late=late)


@transaction.atomic
def put_off(deferral: Deferral, on: On, *, by: Actor) -> Deferral:
    """Store a look that puts an act off, or ends all putting off.

    Errors: ValidationError if the rule allows none, the look was too early, or the hard stop is reached.
    """
    judge_look(deferral.rule, Look(deferral.looked_on, deferral.no_damage), on)
    return services.add(deferral, by=by, action="act put off" if deferral.no_damage else "look found damage")


def change_rule(rule: IntervalRule, *, by: Actor, reason: str, shown_version: int) -> IntervalRule:
    """Store changed fields of a rule. Errors: as facility.services.change()."""
    return services.change(rule, by=by, reason=reason, shown_version=shown_version, action="rule changed")


@transaction.atomic
def add_run(
    chamber: Chamber, started_at: datetime, ended_at: datetime, run_number: int, by: Actor
) -> list[CounterReading]:
    """Raise each counter of a chamber by what a run adds: per run, and per hour under pressure.

    A counter that was never read is left alone: what is not known does not become known by adding to it. So is one
    that was raised for this run already, or that somebody read after the run ended.
    """
    hours = Decimal((ended_at - started_at).total_seconds()) / 3600
    found = []
    for counter in Counter.objects.select_for_update().filter(chamber=chamber, retired_at=None).select_related("site"):
        adds = (counter.per_run + counter.per_hour * hours).quantize(Decimal("0.01"))
        told = counter.readings.filter(retired_at=None)
        if adds <= 0 or told.filter(run_number=run_number).exists() or told.filter(read_at__gt=ended_at).exists():
            continue
        meters = meters_of(counter)
        if not meters.readings:
            continue
        on = ended_at.astimezone(ZoneInfo(counter.site.zone)).date()
        value = meters.total[-1].value - offset_on(on, meters.replaced) + adds
        reading = CounterReading(
            counter=counter, read_at=ended_at, value=value, read_by=by.name, run_number=run_number, occurred_at=ended_at,
            note=_("raised by run %(number)d") % {"number": run_number},
        )  # fmt: skip
        found.append(services.add(reading, by=by, action="counter raised by a run"))
    return found
