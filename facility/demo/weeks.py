"""The demo's last weeks: what people recorded on each day since the box was set up, through the services."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING, Any

from facility import events, services
from facility.demo.moments import Moment, signed_in
from facility.demo.walks import walks
from facility.jobs.queue import Kind
from facility.models import Contact, Job, MedicalFitness, Person, QualificationHeld, QualificationKind
from facility.trust import copies as heads
from maintenance.models import (
    BankReading,
    Counter,
    CounterReading,
    Defect,
    Equipment,
    GasBank,
    Happening,
    IntervalRule,
    WorkRecord,
)
from maintenance.services import raise_defect, record_reading, record_work
from maintenance.upkeep.services import add_happening, read_counter

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.demo.told import Told
    from facility.events import Actor

HEAD_AT = time(1, 45, tzinfo=UTC)
"""When the box signs the head of its log each night, as in its schedule."""
BANK_TO_BANK = timedelta(minutes=3)


def weeks(told: Told, until: datetime) -> Iterator[Moment]:
    """Yield the acts that the file tells, and the head of the log each night before ``until``."""
    yield from walks(told)
    for kind, do in DONE.items():
        for one in told.content[kind]:
            yield Moment(told.at(one["at"]), partial(do, told, one, signed_in(one["by"]).actor))
    for one in told.content["bank_round"]:
        yield from _round(told, one)
    yield from _nights(until)


def _nights(until: datetime) -> Iterator[Moment]:
    night = datetime.combine(events.now(), HEAD_AT) + timedelta(days=1)
    while night < until:
        yield Moment(night, _sign_head)
        night += timedelta(days=1)


def _sign_head() -> None:
    """Sign the head of the log, with which the jobs that asked for one are done."""
    outcome = heads.run("night")
    waiting = Job.objects.filter(kind=Kind.CHECKPOINT, finished_at=None)
    waiting.update(finished_at=events.now(), outcome=outcome)


def _round(told: Told, one: dict[str, Any]) -> Iterator[Moment]:
    by = signed_in(one["by"]).actor
    for place, read in enumerate(one["read"]):
        at = told.at(one["at"]) + place * BANK_TO_BANK
        yield Moment(at, partial(_read_bank, told, read, at, by))


def _read_bank(told: Told, read: dict[str, str], at: datetime, by: Actor) -> None:
    bank = GasBank.objects.get(site=told.site, key=read["bank"])
    pressure, temperature = Decimal(read["pressure"]), Decimal(read["temperature_c"])
    row = BankReading(
        bank=bank, read_at=at, pressure=pressure, unit=bank.gauge_unit, temperature_c=temperature, read_by=by.name
    )
    record_reading(row, by=by)


def _item(told: Told, one: dict[str, Any]) -> Equipment:
    return Equipment.objects.select_related("site").get(site=told.site, tag=one["tag"])


def _work(told: Told, one: dict[str, Any], by: Actor) -> None:
    """Record an act on its day; one told with a day of its own is typed in late."""
    rule = IntervalRule.objects.select_related("equipment__site").get(
        equipment=_item(told, one), name=one["act"], retired_at=None
    )
    done_on = told.day(one.get("on", one["at"].date()))
    row = WorkRecord(equipment=rule.equipment, rule=rule, done_on=done_on, done_by=by.name, note=one.get("note", ""))
    record_work(row, by=by, late="on" in one)


def _defect(told: Told, one: dict[str, Any], by: Actor) -> None:
    row = Defect(
        site=told.site, what=one["what"], effect=one["effect"], found_at=told.at(one["at"]),
        equipment=_item(told, one) if "tag" in one else None,
        bank=GasBank.objects.get(site=told.site, key=one["bank"]) if "bank" in one else None,
        expected_back=told.day(one["expected_back"]) if "expected_back" in one else None,
    )  # fmt: skip
    raise_defect(row, by=by)


def _happening(told: Told, one: dict[str, Any], by: Actor) -> None:
    day = told.day(one["at"].date())
    row = Happening(
        equipment=_item(told, one), kind=one["kind"], happened_on=day, note=one["note"], reported_by=by.name
    )
    add_happening(row, by=by)


def _count(told: Told, one: dict[str, Any], by: Actor) -> None:
    counter = Counter.objects.select_related("site").get(site=told.site, key=one["counter"])
    at, value = told.at(one["at"]), Decimal(one["value"])
    read_counter(CounterReading(counter=counter, read_at=at, value=value, read_by=by.name), by=by)


def _person(told: Told, one: dict[str, Any]) -> Person:
    return Person.objects.select_related("site").get(site=told.site, key=one["person"])


def _medical(told: Told, one: dict[str, Any], by: Actor) -> None:
    row = MedicalFitness(
        person=_person(told, one), examined_on=told.day(one["at"].date()), good_until=told.day(one["good_until"]),
        outcome=one["outcome"], physician=one["physician"],
    )  # fmt: skip
    services.add(row, by=by)


def _qualification(told: Told, one: dict[str, Any], by: Actor) -> None:
    kind = QualificationKind.objects.get(organisation=told.site.organisation, key=one["kind"])
    row = QualificationHeld(
        person=_person(told, one), kind=kind, issued_on=told.day(one["issued_on"]),
        expires_on=told.day(one["expires_on"]), number=one["number"], issuer=one["issuer"],
    )  # fmt: skip
    services.add(row, by=by)


def _confirmed(told: Told, one: dict[str, Any], by: Actor) -> None:
    row = Contact.objects.get(site=told.site, key=one["contact"])
    row.confirmed_on = told.day(one["at"].date())
    services.change(row, by=by, reason="Rung today, it was right.", shown_version=row.row_version, action="confirmed")


DONE = {
    "work": _work, "defect": _defect, "happening": _happening, "count": _count, "medical": _medical,
    "qualification": _qualification, "confirmed": _confirmed,
}  # fmt: skip
