"""What people call the things that flags are about: rows of flags and their events hold keys."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.compute.flags import Sort
from facility.gathered import current
from facility.models import Chamber, Contact, Flag, Person, QualificationKind
from treatments.models import Need, Plan

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from django.db.models import Model

AT_ONCE = 2000


class Names:
    """Names of what some flags are about. One query for each sort of thing that is among them."""

    def __init__(self, rows: Sequence[Flag]) -> None:
        of = {sort: [row.thing.split(":") for row in rows if row.sort == sort] for sort in Sort}
        self.people = _names(Person, (parts[1] for sort in (Sort.MEDICAL, Sort.QUALIFICATION) for parts in of[sort]))
        self.qualifications = _names(QualificationKind, (parts[2] for parts in of[Sort.QUALIFICATION]))
        self.contacts = _names(Contact, (parts[1] for parts in of[Sort.CONTACT]))
        chambers = sorted({int(parts[1]) for parts in of[Sort.PLAN]})
        self.chambers = _names(Chamber, map(str, chambers))
        self.plans = _keyed(Plan, chambers)
        self.needs = _keyed(Need, chambers)

    def title(self, row: Flag, known: str) -> str:
        """Return the name of a flag's thing; ``known``, what its event says, where the row is no longer there."""
        parts = row.thing.split(":")
        number = int(parts[1])
        if row.sort == Sort.PLAN:
            plan = self.plans.get((number, parts[2]))
            return f"{plan}, {self.chambers[number]}" if plan and number in self.chambers else known
        if row.sort == Sort.QUALIFICATION and number in self.people and int(parts[2]) in self.qualifications:
            words = {"name": self.qualifications[int(parts[2])], "person": self.people[number]}
            return _("%(name)s of %(person)s") % words
        known = {Sort.MEDICAL: self.people, Sort.CONTACT: self.contacts}.get(Sort(row.sort), {}).get(number, known)
        words = {
            Sort.LIFE: _("service life of %(name)s"), Sort.MEDICAL: _("medical of %(name)s"), Sort.CONTACT: _("contact %(name)s"),
        }  # fmt: skip
        return words.get(Sort(row.sort), "%(name)s") % {"name": known}

    def need(self, row: Flag, key: str) -> str:
        """Return the name of what stops a plan."""
        return _("the crew") if key == "crew" else self.needs.get((int(row.thing.split(":")[1]), key), key)


def _names(model: type[Model], numbers: Iterable[str]) -> dict[int, str]:
    wanted, found = sorted(set(map(int, numbers))), {}
    rows: Any = model._default_manager
    for begin in range(0, len(wanted), AT_ONCE):
        found.update(rows.filter(pk__in=wanted[begin : begin + AT_ONCE]).values_list("pk", "name"))
    return found


def _keyed(model: type[Any], chambers: Sequence[int]) -> dict[tuple[int, str], str]:
    if not chambers:
        return {}
    rows = current(model).filter(chamber__in=chambers).order_by("pk").values_list("chamber_id", "key", "name")
    return {(chamber, key): name for chamber, key, name in rows}
