"""The demo's daily checks since the box was set up: walked step by step and signed, through the services."""

from __future__ import annotations

import uuid
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

from facility.compute.sheets import Outcome, Typed
from facility.demo.moments import Moment, signed_in
from facility.models import CheckSheet, Person
from facility.walk import answering
from facility.walk.answering import Given, Slip
from facility.walk.services import current_version, start, steps_of
from facility.walk.signing import MEANING, Signing, answers_of, open_defects, shown, sign

if TYPE_CHECKING:
    from collections.abc import Iterator

    from facility.compute.sheets import Step
    from facility.demo.told import Told
    from facility.models import Answer, Check

SHEET = "daily"
PACE = timedelta(seconds=16)
"""From step to step of somebody who walks the sheet every other evening."""


def walks(told: Told) -> Iterator[Moment]:
    """Yield the acts of every daily check that the file tells."""
    sheet = CheckSheet.objects.select_related("chamber__site").get(chamber__site=told.site, key=SHEET)
    steps = steps_of(current_version(sheet))
    for turn, one in enumerate(told.content["check"]):
        yield from Walk(told, one, turn, sheet).moments(steps)


class Walk:
    """One walk of the sheet. ``turn``: the how-manieth, by which its readings are taken from the file."""

    def __init__(self, told: Told, one: dict[str, Any], turn: int, sheet: CheckSheet) -> None:
        self.told, self.one, self.turn, self.sheet = told, one, turn, sheet
        self.by = signed_in(one["by"])
        self.second = Person.objects.get(site=told.site, key=one["second"])
        self.differs = {each["step"]: each for each in one.get("differs", [])}
        self.slip = one.get("slip", {})
        self.check: Check

    def moments(self, steps: tuple[Step, ...]) -> Iterator[Moment]:
        """Yield its acts: begun, each step answered, a slip corrected, signed."""
        begun = self.told.at(self.one["at"])
        yield Moment(begun, self._begin)
        for place, step in enumerate(steps, start=1):
            yield Moment(begun + place * PACE, partial(self._answer, step))
        yield Moment(self.told.at(self.one["signed_at"]), partial(self._sign, steps))

    def _begin(self) -> None:
        self.check, _was_open = start(self.sheet, by=self.by.actor)

    def _answer(self, step: Step) -> None:
        stored = self._store(step, self._typed(step))
        if step.key == self.slip.get("step"):
            right = Slip(self._typed(step, slipped=False), self.slip["reason"], uuid.uuid4())
            answering.correct(stored.pk, right, site=self.told.site, by=self.by.actor)

    def _store(self, step: Step, typed: Typed) -> Answer:
        second = self.second.pk if step.needs_second else None
        note = self.differs.get(step.key, {}).get("note", "")
        given = Given(uuid.uuid4(), step.key, typed, note, second)
        return answering.answer(self.check.pk, given, site=self.told.site, by=self.by.actor).answer

    def _typed(self, step: Step, *, slipped: bool = True) -> Typed:
        """Return what is given for a step: in order, or the reading of this turn, unless the file says otherwise."""
        said = self.differs.get(step.key, {})
        if not step.is_reading:
            return Typed(outcome=said.get("outcome", Outcome.GOOD))
        if slipped and step.key == self.slip.get("step"):
            return Typed(value=self.slip["typed"])
        return Typed(value=said.get("value") or self._reading(step))

    def _reading(self, step: Step) -> str:
        if step.bank:
            pressure: str = self.one["banks"][step.bank]
            return pressure
        values: list[str] = self.told.content["reading"][step.key]
        return values[self.turn % len(values)]

    def _sign(self, steps: tuple[Step, ...]) -> None:
        site = self.told.site
        page = shown(self.check, answers_of(self.check), open_defects(site, steps)).page
        sign(self.check.pk, page, Signing(self.by.user, str(MEANING)), site=site, by=self.by.actor)
