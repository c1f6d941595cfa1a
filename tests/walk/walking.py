"""A site with a sheet, people and an open check, and short ways to answer."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from facility.compute.sheets import Typed
from facility.events import Actor
from facility.models import Check, CheckSheet, Person, Site, User
from facility.walk import answering, services, signing
from facility.walk.answering import Given, Stored
from maintenance.models import BankReading
from tests import make

if TYPE_CHECKING:
    from datetime import datetime

    from maintenance.models import GasBank


@dataclass
class World:
    """What most tests of a check need."""

    site: Site
    sheet: CheckSheet
    user: User
    second: Person

    @property
    def by(self) -> Actor:
        return Actor(str(self.user), self.user.pk)


def world(**sheet: Any) -> World:
    site = make.site()
    chamber = make.chamber(site)
    return World(site, make.sheet(chamber, **sheet), make.supervisor(site), make.person(site, name="Second Tester"))


def begin(w: World) -> Check:
    return services.start(w.sheet, by=w.by)[0]


def give(w: World, check: Check, step: str, typed: Typed, **more: Any) -> Stored:
    given = Given(more.pop("client_id", None) or uuid.uuid4(), step, typed, **more)
    return answering.answer(check.pk, given, site=w.site, by=more.get("by", w.by))


def all_good(w: World, check: Check, *, leave_out: tuple[str, ...] = ()) -> None:
    answers = {
        "door": Typed("good"),
        "supply": Typed(value="8.1"),
        "speech": Typed("good"),
        "place": Typed(choice="nothing"),
    }
    for step, typed in answers.items():
        if step not in leave_out:
            give(w, check, step, typed, second=w.second.pk)


def page_of(w: World, check: Check) -> str:
    """Return the digest of what the signing page shows now."""
    found = Check.objects.select_related("version", "sheet__chamber__site").get(pk=check.pk)
    steps = services.steps_of(found.version)
    return signing.shown(found, signing.answers_of(found), signing.open_defects(w.site, steps)).page


def sign(w: World, check: Check, shown: str | None = None) -> tuple[Check, int]:
    return signing.sign(check.pk, shown or page_of(w, check), signing.Signing(w.user, "means it"), site=w.site, by=w.by)


def checked(bank: GasBank, at: datetime, pressure: str) -> BankReading:
    """Return the reading of a bank that a check carried: no step of a sheet asks for the temperature of the gas."""
    chamber = bank.chamber or make.chamber(bank.site)
    step = make.STEPS[1] | {"key": "bank", "bank": bank.key, "unit": "bar", "low": "0", "high": "300"}
    key = f"round-{BankReading.objects.count()}"
    w = World(bank.site, make.sheet(chamber, steps=[step], key=key), make.supervisor(bank.site), make.person(bank.site))
    give(w, begin(w), "bank", Typed(value=pressure, unit="bar"), happened_at=at)
    return BankReading.objects.filter(answer__isnull=False).latest("id")
