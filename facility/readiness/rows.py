"""Rows of the Now page: one plan with its word, its horizon, its reason and its picture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from facility.compute.instants import datetime_of, instant_of, parse_instant
from facility.compute.states import State
from facility.readiness import sentences
from facility.readiness.ebb import Ebb, ebb_of


@dataclass(frozen=True, slots=True)
class PlanMeta:
    """What a page knows about a plan beside its evaluation.

    ``need_names``: need key to name, "crew" too. ``parts``: what the duration is made of, as
    (words, minutes) in order: the table, each kind of extension, the house's margin.
    ``url``: the Why page.
    """

    key: str
    name: str
    party: str = ""
    chamber: str = ""
    url: str = ""
    need_names: Mapping[str, str] = field(default_factory=dict)
    parts: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One plan as the Now page prints it.

    ``start_by``: the instant at which it is too late to start; None if not startable or without
    an end on record. ``ends``: the instant after which the word must not be shown any more.
    """

    plan_key: str
    name: str
    party: str
    duration_min: int
    state: str
    mark: str
    start_by: datetime | None
    start_words: sentences.StartBy
    reason: str
    evaluation: Mapping[str, Any]
    ebb: Ebb
    url: str = ""
    chamber: str = ""
    ends: datetime | None = None

    @property
    def not_ready(self) -> bool:
        """Whether this run may not start by what is recorded."""
        return self.state == State.NOT_READY


_MARKS = {State.READY: "ready", State.READY_WITH_LIMITS: "limits", State.NOT_READY: "stop", State.NOT_KNOWN: "unknown"}
STARTABLE = frozenset({State.READY, State.READY_WITH_LIMITS})


def plan_row(evaluation: Mapping[str, Any], plan_meta: PlanMeta, at: datetime, zone: str) -> PlanRow:
    """Return the row of one evaluation in the plain shape of the readiness facts.

    ``at``: aware; ``zone``: name of the site's time zone.
    Errors: FactsError if an instant is not one; ValueError if the state is none of the four words.
    """
    state, now = State(str(evaluation["state"])), instant_of(at)
    names = {"crew": _("Crew"), **plan_meta.need_names}
    holds = _moment(evaluation.get("holds_until"))
    return PlanRow(
        plan_key=plan_meta.key,
        name=plan_meta.name,
        party=plan_meta.party,
        duration_min=int(evaluation["duration_min"]),
        state=str(state),
        mark=_MARKS[state],
        start_by=holds if state in STARTABLE else None,
        start_words=sentences.start_by(evaluation, names, now, zone),
        reason=sentences.reason(evaluation, names),
        evaluation=evaluation,
        ebb=ebb_of(evaluation, names, now, zone),
        url=plan_meta.url,
        chamber=plan_meta.chamber,
        ends=holds if state in STARTABLE else None,
    )


def sentence_of(rows: list[PlanRow]) -> str:
    """Return the sentence on top of the Now page."""
    return sentences.sentence((row.name, row.state) for row in rows)


def _moment(instant: str | None) -> datetime | None:
    return None if instant is None else datetime_of(parse_instant(instant))
