"""Certificates and medicals that a newer one took over from: their end is past, and nobody has to do anything."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.models import MedicalFitness, QualificationHeld

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date

    from facility.records.states import State

OVER = "over"


def qualifications(rows: Sequence[Any], states: Mapping[int, State]) -> dict[int, State]:
    """Return the states, quiet where another certificate of that person and kind, looked at twice, is good for longer."""
    people, kinds = {row.person_id for row in rows}, {row.kind_id for row in rows}
    held = QualificationHeld.objects.filter(person__in=people, kind__in=kinds, retired_at=None)
    ends: dict[tuple[int, int], list[date | None]] = {}
    for person, kind, end in held.exclude(second_look_by="").values_list("person_id", "kind_id", "expires_on"):
        ends.setdefault((person, kind), []).append(end)
    return {row.pk: _quiet(states[row.pk], row.expires_on, ends.get((row.person_id, row.kind_id), ())) for row in rows}


def medicals(rows: Sequence[Any], states: Mapping[int, State]) -> dict[int, State]:
    """Return the states, quiet where the person was examined again later: the newest medical alone counts."""
    examined: dict[int, list[date]] = {}
    found = MedicalFitness.objects.filter(person__in={row.person_id for row in rows}, retired_at=None)
    for person, day in found.values_list("person_id", "examined_on"):
        examined.setdefault(person, []).append(day)
    return {row.pk: _quiet(states[row.pk], row.examined_on, examined.get(row.person_id, ())) for row in rows}


def _quiet(state: State, own: date | None, others: Iterable[date | None]) -> State:
    if state.mark != OVER or own is None or not any(one is None or one > own for one in others):
        return state
    return replace(state, mark="", words=_("Followed by a newer one"), rank=0)
