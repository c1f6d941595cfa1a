"""The demo's runs with a log: opened, keyed in from paper, closed and signed, through the services."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from facility import events
from facility.access import Act, Visit
from facility.events import Actor
from facility.models import Person, User
from facility.readiness.runs.log_views import surface_of
from treatments.after.closing import close
from treatments.after.owed import left_open, to_do, to_look_at
from treatments.after.record import Record, record_of
from treatments.after.signing import Signing, sign
from treatments.log.paper import Sheet, Written, key_in
from treatments.models import Asked, Plan, Run, RunPlace, Screening, ScreeningBefore, SignatureOf
from treatments.opening.places import NewPlace, places_of
from treatments.opening.screening import screen
from treatments.opening.services import Opening, open_run

if TYPE_CHECKING:
    from facility.demo.year import Told
    from facility.models import Site

GAUGE, BANK_GAUGE = "fsw", "bar"
NO_VALUES = ("at", "kind", "who", "depth", "remark")


@dataclass(frozen=True, slots=True)
class Kept:
    """A run with what the file tells of it, and who keys it in."""

    run: Run
    one: dict[str, Any]
    by: Actor


def play_runs(told: Told) -> None:
    """Store the runs that the file tells with their logs, oldest first.

    Errors: ValidationError if they do not fit what was imported.
    """
    for one in told.content["run"]:
        kept = _opened(told, one)
        _screen(told, kept)
        _key_in(told, kept)
        _close(told.site, kept)
        if "signed_by" in one:
            _sign(told.site, kept)


def _opened(told: Told, one: dict[str, Any]) -> Kept:
    plan = Plan.objects.select_related("chamber__site").get(
        chamber__site=told.site, key=one["plan"], retired_at=None
    )  # fmt: skip
    crew = {row.key: row for row in Person.objects.filter(site=told.site).select_related("site")}
    people = tuple(
        NewPlace(part["role"], crew.get(part.get("person", "")), inside=part.get("inside", False))
        for part in one["people"]
    )
    by = Actor(one["keyed_in_by"])
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
    values = {key: text for key, text in line.items() if key not in NO_VALUES}
    if "bank_pressure" in values:
        values["bank_unit"] = BANK_GAUGE
    return Written(
        number, line["at"], line["kind"], places[line["who"]] if "who" in line else None, line.get("depth", ""),
        GAUGE if "depth" in line else "", values, line.get("remark", ""),
    )  # fmt: skip


def _record(run: Run) -> Record:
    rows = Run.objects.select_related("chamber__site", "plan", "lock")
    return record_of(rows.get(pk=run.pk), events.now())


def _close(site: Site, kept: Kept) -> None:
    record = _record(kept.run)
    owed = left_open([*to_do(record, Visit(site, frozenset({Act.SEE}), kept.by)), *to_look_at(record)])
    close(kept.run.pk, owed, site=site, reason="", by=kept.by)


def _sign(site: Site, kept: Kept) -> None:
    user = User.objects.get(username=kept.one["signed_by"])
    signing = Signing(SignatureOf.SUPERVISOR, user.pk, _record(kept.run).digest)
    sign(kept.run.pk, signing, site=site, by=Actor(kept.one["supervisor"], user.pk, kept.one["signed_by"]))
