"""The stations of a sheet, and what one version of it changed against another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from facility.compute.sheet_steps import FIELDS, Step, plain_step


@dataclass(frozen=True, slots=True)
class Group:
    """One station of the walk. ``place`` counts from 1."""

    place: int
    name: str
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """One difference between two versions. ``field`` is empty for a step added, removed or moved."""

    key: str
    what: str
    field: str = ""
    old: str = ""
    new: str = ""


def groups_of(steps: Sequence[Step]) -> tuple[Group, ...]:
    """Return the steps by group, in walking order."""
    runs = groupby(steps, key=lambda step: step.group)
    return tuple(Group(place, name, tuple(run)) for place, (name, run) in enumerate(runs, 1))


def differences(old: Sequence[Step], new: Sequence[Step]) -> tuple[Change, ...]:
    """Return what ``new`` changed: steps added, removed, moved, and each field that differs.

    >>> from facility.compute.sheet_steps import Kind
    >>> door, seal = Step("door", "Doors", Kind.LOOK, "Door"), Step("seal", "Doors", Kind.LOOK, "Seal")
    >>> [(change.key, change.what) for change in differences([door], [door, seal])]
    [('seal', 'added')]
    """
    before, after = {step.key: step for step in old}, {step.key: step for step in new}
    changes = [Change(key, "removed", old=step.text) for key, step in before.items() if key not in after]
    changes += [Change(key, "added", new=step.text) for key, step in after.items() if key not in before]
    both_old = [key for key in before if key in after]
    both_new = [key for key in after if key in before]
    changes += [
        Change(key, "moved", new=after[key].text) for key in both_new if both_old.index(key) != both_new.index(key)
    ]
    for key in both_new:
        changes += _fields(before[key], after[key])
    return tuple(changes)


def _fields(old: Step, new: Step) -> list[Change]:
    was, now = plain_step(old), plain_step(new)
    return [
        Change(new.key, "changed", name, _words(was.get(name)), _words(now.get(name)))
        for name in FIELDS
        if was.get(name) != now.get(name)
    ]


def _words(value: object) -> str:
    if isinstance(value, list):
        return ", ".join(value)
    if value is None:
        return ""
    return "yes" if value is True else str(value)
