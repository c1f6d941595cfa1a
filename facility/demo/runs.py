"""The demo's runs with a log, through the services: one keyed in from paper, one logged while it was on, closed and signed."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

from facility import events
from facility.access import Act, Visit
from facility.demo.moments import Moment, signed_in
from facility.events import Actor
from facility.models import Person
from facility.readiness.runs.log_views import surface_of
from treatments.after.closing import close
from treatments.after.owed import left_open, to_do, to_look_at
from treatments.after.record import Record, record_of
from treatments.after.signing import Signing, sign
from treatments.log.paper import Sheet, Written, key_in
from treatments.log.services import Given, add_entry
from treatments.models import Asked, LogKind, Plan, Run, RunPlace, Screening, ScreeningBefore, SignatureOf
from treatments.opening.places import NewPlace, places_of
from treatments.opening.screening import screen
from treatments.opening.services import Opening, open_run

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.demo.told import Told
    from facility.models import Site

GAUGE, BANK_GAUGE = "fsw", "bar"
NO_VALUES = ("at", "kind", "who", "depth", "remark")


@dataclass(frozen=True, slots=True)
class Kept:
    """A run with what the file tells of it, and who keys it in."""

    run: Run
    one: dict[str, Any]
    by: Actor


def key_in_runs(told: Told) -> None:
    """Store the runs whose log the file tells as kept on paper, oldest first.

    Errors: ValidationError if they do not fit what was imported.
    """
    for one in told.content["run"]:
        if "keyed_in_by" in one:
            kept = _opened(told, one, Actor(one["keyed_in_by"]))
            _screen(told, kept)
            _key_in(told, kept)
            _close(told.site, kept)


def logged_runs(told: Told) -> Iterator[Moment]:
    """Yield the acts of the runs that the file tells as logged while they were on."""
    for one in told.content["run"]:
        if "logged_by" in one:
            yield from LoggedRun(told, one).moments()


class LoggedRun:
    """A run with each line of its log entered when it happened, by the clock on the panel."""

    def __init__(self, told: Told, one: dict[str, Any]) -> None:
        self.told, self.one = told, one
        self.by = signed_in(one["logged_by"]).actor
        self.kept: Kept

    def moments(self) -> Iterator[Moment]:
        """Yield its acts: opened, screened, each line, closed, signed."""
        at = self.told.at
        yield Moment(at(self.one["opened_at"]), self._open)
        yield Moment(at(self.one["screened_at"]), lambda: _screen(self.told, self.kept))
        before = datetime.combine(self.one["on"], time())
        for line in self.one["lines"]:
            before = _next(before, line["at"])
            yield Moment(at(before), partial(self._log, line))
        yield Moment(at(self.one["closed_at"]), lambda: _close(self.told.site, self.kept))
        yield Moment(at(self.one["signed_at"]), lambda: _sign(self.told.site, self.kept))

    def _open(self) -> None:
        self.kept = _opened(self.told, self.one, self.by)

    def _log(self, line: dict[str, str]) -> None:
        run = self.kept.run
        surface = surface_of(run, events.now(), self.one["reason"]) if line["kind"] == LogKind.LEFT_SURFACE else None
        places = {place.label: place.pk for place in places_of(run)}
        given = Given(
            uuid.uuid4(), line["kind"], places.get(line.get("who", "")), line.get("depth", ""),
            GAUGE if "depth" in line else "", _values(line), line.get("remark", ""), clock=line["at"], surface=surface,
        )  # fmt: skip
        add_entry(run.pk, given, site=self.told.site, by=self.by)


def _next(before: datetime, clock: str) -> datetime:
    """Return when the clock shows this next."""
    hour, minute = map(int, clock.split(":"))
    at = before.replace(hour=hour, minute=minute)
    return at if at >= before else at + timedelta(days=1)


def _opened(told: Told, one: dict[str, Any], by: Actor) -> Kept:
    plan = Plan.objects.select_related("chamber__site").get(
        chamber__site=told.site, key=one["plan"], retired_at=None
    )  # fmt: skip
    crew = {row.key: row for row in Person.objects.filter(site=told.site).select_related("site")}
    people = tuple(
        NewPlace(part["role"], crew.get(part.get("person", "")), inside=part.get("inside", False))
        for part in one["people"]
    )
    run = open_run(Opening(plan, one["purpose"], one["supervisor"], people=people), by=by)
    return Kept(run, one, by)


def _screen(told: Told, kept: Kept) -> None:
    yes = dict.fromkeys(("clothing", "items", "ears", "consent", "contraindications"), Asked.YES)
    for place in _inside(kept.run):
        row = Screening(
            run=kept.run, occupant=place, before=ScreeningBefore.PRESSURE, screened_by=kept.one["screened_by"],
            screened_at=told.at(kept.one["screened_at"]), **yes,
        )  # fmt: skip
        screen(row, by=kept.by)


def _inside(run: Run) -> list[RunPlace]:
    return [place for place in places_of(run) if place.inside]


def _key_in(told: Told, kept: Kept) -> None:
    """Key in the log as it stood on paper; what readiness says is looked up for the time at which it left surface."""
    run, one = kept.run, kept.one
    places = {place.label: place.pk for place in places_of(run)}
    lines = [_written(number, line, places) for number, line in enumerate(one["lines"], start=1)]
    sheet = Sheet(told.day(one["on"]), lines, uuid.uuid4())
    key_in(run.pk, sheet, lambda at: surface_of(run, at, one["reason"]), site=told.site, by=kept.by)


def _written(number: int, line: dict[str, str], places: dict[str, int]) -> Written:
    return Written(
        number, line["at"], line["kind"], places[line["who"]] if "who" in line else None, line.get("depth", ""),
        GAUGE if "depth" in line else "", _values(line), line.get("remark", ""),
    )  # fmt: skip


def _values(line: dict[str, str]) -> dict[str, str]:
    values = {key: text for key, text in line.items() if key not in NO_VALUES}
    return values | {"bank_unit": BANK_GAUGE} if "bank_pressure" in values else values


def _record(run: Run) -> Record:
    rows = Run.objects.select_related("chamber__site", "plan", "lock")
    return record_of(rows.get(pk=run.pk), events.now())


def _close(site: Site, kept: Kept) -> None:
    record = _record(kept.run)
    owed = left_open([*to_do(record, Visit(site, frozenset({Act.SEE}), kept.by)), *to_look_at(record)])
    close(kept.run.pk, owed, site=site, reason="", by=kept.by)


def _sign(site: Site, kept: Kept) -> None:
    by = signed_in(kept.one["supervisor"])
    sign(kept.run.pk, Signing(SignatureOf.SUPERVISOR, by.user.pk, _record(kept.run).digest), site=site, by=by.actor)
