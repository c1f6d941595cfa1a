"""What stands below and before the rows of the Now page. The gathering view fills these, the template prints them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from django.utils.translation import gettext as _


class OpenThing(NamedTuple):
    """Something open or unfinished: its mark, its number if it has one, a title, a line below, a figure at the right."""

    mark: str
    number: str
    title: str
    sub: str = ""
    figure: str = ""
    url: str = ""


class OnCall(NamedTuple):
    """A person on duty, in which roles (words), and until when."""

    name: str
    role: str
    until: datetime | None = None
    note: str = ""


class Demand(NamedTuple):
    """What one plan asks of a gas, reserve kept back; whether the content is enough, None if not known.

    ``shut``: the bank is out of service for this plan, whatever it holds.
    """

    plan: str
    litres: Decimal
    enough: bool | None
    shut: bool = False


class GasRow(NamedTuple):
    """One bank: content in ``unit``, None if not known; how many minutes ago it was read.

    ``tags``: what takes it out of service or restricts it, as (mark, words).
    """

    bank: str
    gas: str
    content: Decimal | None
    unit: str
    age: int | None
    demands: tuple[Demand, ...] = ()
    note: str = ""
    tags: tuple[tuple[str, str], ...] = ()

    @property
    def shut(self) -> bool:
        """Whether no plan may count it."""
        return bool(self.demands) and all(one.shut for one in self.demands)

    @property
    def grouped(self) -> tuple[tuple[str, str, list[Demand]], ...]:
        """Return mark, words and demands for those that are met, missed, not known and shut off."""
        said = (
            ("indate", _("enough for"), True),
            ("stop", _("too little for"), False),
            ("unknown", _("not known for"), None),
        )
        counted = [one for one in self.demands if not one.shut]
        groups = [(mark, words, [one for one in counted if one.enough is met]) for mark, words, met in said]
        groups.append(("tag", _("not counted for"), [one for one in self.demands if one.shut and not self.shut]))
        return tuple(group for group in groups if group[2])


class Contact(NamedTuple):
    """Someone to call: the name, what for, and the number as it is dialled."""

    name: str
    role: str
    phone: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class CallFirst:
    """Whom to call and where to go when a run cannot start."""

    contacts: tuple[Contact, ...]
    evacuation: str
