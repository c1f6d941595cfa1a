"""What the page of one station shows: its items with their answers, last values and pictures."""

from __future__ import annotations

import uuid
from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from facility.compute.limit_rule import LimitRule, limit_rule
from facility.compute.sheets import Beyond, Group, Outcome, Step, groups_of, how_far, worst
from facility.models import Answer, Check, Event
from facility.walk.services import steps_of
from facility.walk.signing import open_defects
from facility.walk.touched import Touched, touched_by

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from facility.models import Site
    from maintenance.models import Defect

LOOKED_BACK_CHECKS = 20
STATES = {
    None: "todo",
    Outcome.GOOD: "past",
    Outcome.NOT_FITTED: "past",
    Outcome.UNREAD: "past wait",
    Outcome.BAD: "bad",
}


@dataclass(frozen=True, slots=True)
class Told:
    """One answer, with the number of its entry and whether the server's clock was doubtful then."""

    answer: Answer
    entry: int
    clock_suspect: bool
    beyond: Beyond | None


@dataclass(slots=True)
class Item:
    """One step on the page. ``state`` is its look: on, todo, past, past wait, bad."""

    number: int
    step: Step
    told: list[Told]
    outcome: Outcome | None
    last: Answer | None
    defects: list[Defect]
    touched: Touched | None
    state: str

    @property
    def counting(self) -> list[Told]:
        """The answers that count."""
        return [told for told in self.told if told.answer.is_current]

    @property
    def is_single(self) -> bool:
        """Whether its one answer is already said by the line itself."""
        return len(self.told) == 1

    @property
    def worst(self) -> Told | None:
        """The answer that the item is judged by."""
        return next((told for told in reversed(self.counting) if told.answer.outcome == self.outcome), None)

    @property
    def rule(self) -> LimitRule | None:
        """The picture of its limits."""
        value = self.worst.answer.value if self.worst else ""
        last = self.last.value if self.last else ""
        return limit_rule(self.step.low, self.step.high, _decimal(last), _decimal(value))

    @property
    def new_id(self) -> uuid.UUID:
        """An id for the next answer, for a page without script."""
        return uuid.uuid4()


@dataclass(frozen=True, slots=True)
class Stop:
    """One station of the walk; ``done`` counts its answered steps."""

    group: Group
    done: int

    @property
    def finished(self) -> bool:
        """Whether every step has an answer."""
        return self.done == len(self.group.steps)


@dataclass(frozen=True, slots=True)
class Walk:
    """A whole check: its steps, stations and answers."""

    check: Check
    steps: tuple[Step, ...]
    stops: tuple[Stop, ...]
    answers: dict[str, list[Answer]]

    @property
    def done(self) -> int:
        """How many steps have an answer that counts."""
        return sum(stop.done for stop in self.stops)

    def stop_at(self, place: int) -> Stop:
        """Return a station; a place past the end gives the last one."""
        return self.stops[max(1, min(place, len(self.stops))) - 1]

    def place_to_go_on(self) -> int:
        """Return the station of the next open step from where the walk stood, else of any, else the last."""
        keys = [step.key for step in self.steps]
        here = keys.index(self.check.here) if self.check.here in keys else 0
        for step in (*self.steps[here:], *self.steps[:here]):
            if not _current(self.answers.get(step.key, [])):
                return next(stop.group.place for stop in self.stops if step in stop.group.steps)
        return len(self.stops)


def walk_of(check: Check, answers: Iterable[Answer]) -> Walk:
    """Return a check with its answers by step."""
    by_step: dict[str, list[Answer]] = defaultdict(list)
    for answer in answers:
        by_step[answer.step].append(answer)
    steps = steps_of(check.version)
    stops = tuple(
        Stop(group, sum(1 for step in group.steps if _current(by_step.get(step.key, [])))) for group in groups_of(steps)
    )
    return Walk(check, steps, stops, dict(by_step))


def items_of(walk: Walk, site: Site, steps: Sequence[Step]) -> list[Item]:
    """Return the items of some steps; the first open one is the one to read now."""
    last = last_values(walk.check, [step.key for step in steps])
    defects = open_defects(site, steps)
    numbers = {step.key: number for stop in walk.stops for number, step in enumerate(stop.group.steps, 1)}
    outcomes = {
        step.key: worst(Outcome(row.outcome) for row in _current(walk.answers.get(step.key, []))) for step in steps
    }
    failed = [step for step in steps if outcomes[step.key] is Outcome.BAD]
    touched = touched_by(walk.check, failed)
    told = tell([row for step in steps for row in walk.answers.get(step.key, [])], {step.key: step for step in steps})
    items = [
        Item(
            numbers[step.key], step, told.get(step.key, []), outcomes[step.key], last.get(step.key),
            [defect for defect in defects if _is_of(defect, step)], touched.get(step.key), STATES[outcomes[step.key]],
        )
        for step in steps
    ]  # fmt: skip
    first_open = next((item for item in items if item.outcome is None), None)
    if first_open is not None:
        first_open.state = "on"
    return items


def tell(answers: Sequence[Answer], steps: dict[str, Step]) -> dict[str, list[Told]]:
    """Return answers by step with their entry numbers, in one query."""
    kept = Event.objects.filter(subject_kind="facility.answer", subject_id__in=[answer.pk for answer in answers])
    entries = {
        pk: (seq, suspect)
        for pk, seq, suspect in kept.order_by("-seq").values_list("subject_id", "seq", "clock_suspect")
    }
    told: dict[str, list[Told]] = defaultdict(list)
    for answer in answers:
        seq, suspect = entries.get(answer.pk, (0, False))
        value = _decimal(answer.value)
        beyond = how_far(steps[answer.step], value) if value is not None and answer.step in steps else None
        told[answer.step].append(Told(answer, seq, suspect, beyond))
    return told


def last_values(check: Check, keys: Sequence[str]) -> dict[str, Answer]:
    """Return by step the last answer that read something, from the sheet's latest checks before this one."""
    before = (
        Check.objects.filter(sheet_id=check.sheet_id).exclude(pk=check.pk).order_by("-started_at")[:LOOKED_BACK_CHECKS]
    )
    rows = Answer.objects.filter(
        check_done__in=list(before.values_list("pk", flat=True)), step__in=keys, retired_at=None,
        outcome__in=[Outcome.GOOD.value, Outcome.BAD.value],
    )  # fmt: skip
    newest: dict[str, Answer] = {}
    for row in rows.order_by("-check_done__started_at", "-pk"):
        newest.setdefault(row.step, row)
    return newest


def _current(answers: Iterable[Answer]) -> list[Answer]:
    return [answer for answer in answers if answer.is_current]


def _is_of(defect: Defect, step: Step) -> bool:
    tag = defect.equipment.tag if defect.equipment else None
    bank = defect.bank.key if defect.bank else None
    return (bool(step.tag) and tag == step.tag) or (bool(step.bank) and bank == step.bank)


def _decimal(text: str) -> Decimal | None:
    return Decimal(text) if text else None
