"""What is kept of many chambers, with what it takes to say whether it still counts."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Exists, OuterRef, Q, TextField
from django.db.models.functions import Cast

from facility.compute.fleet import SHOWN_FOR, Kept, Log
from facility.fleet.states import load_plan
from facility.models import Event

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import date, datetime

    from django.db.models import QuerySet

    from facility.fleet.states import PlanState
    from facility.models import Chamber

#: events of no site that bear on no answer; whatever else is of no site may, and makes what was kept old
HARMLESS = ("account:", "security:locked out", "records:verified", "backup:")
_FIELDS = (
    "pk", "key", "name", "site_id", "site__key", "site__name", "site__zone", "site__organisation__name",
    "fleet_state__known_at", "fleet_state__known_seq", "fleet_state__state", "fleet_state__holds_until",
    "fleet_state__lapses_on", "fleet_state__lapses_what", "fleet_state__overdue", "fleet_state__in_use_by",
)  # fmt: skip
NO_EVENT = 2**62
"""No event has such a number."""
PLACE = 8
"""So many of them say which chamber it is."""


@dataclass(frozen=True, slots=True)
class KeptChamber:
    """A chamber with what was kept of it. ``changed``: an event of its site is newer than what was kept."""

    chamber: int
    key: str
    name: str
    site: int
    site_key: str
    site_name: str
    zone: str
    organisation: str
    kept: Kept | None
    state: str
    lapses_on: date | None
    lapses_what: str
    overdue: int
    in_use_by: str
    plans_text: str
    changed: bool

    def plans(self) -> tuple[PlanState, ...]:
        """Return the plans as they were kept."""
        return tuple(load_plan(one) for one in json.loads(self.plans_text))


def kept_chambers(chambers: QuerySet[Chamber]) -> Iterator[KeptChamber]:
    """Yield chambers by organisation, site and key, in one query however many there are."""
    later = Event.objects.filter(site_id_text=OuterRef("site__key"), seq__gt=OuterRef("fleet_state__known_seq"))
    rows = (
        chambers.order_by("site__organisation__name", "site__name", "site_id", "key")
        .annotate(changed=Exists(later), plans_text=Cast("fleet_state__plans", TextField()))
        .values_list(*_FIELDS, "plans_text", "changed")
    )
    for row in rows:
        known_at, seq, state, until, lapses_on, lapses_what, overdue, run, plans, changed = row[PLACE:]
        kept = None if known_at is None else Kept(known_at, seq, until)
        rest = (kept, state or "", lapses_on, lapses_what or "", overdue or 0, run or "", plans or "[]", changed)
        values: Any = (*row[:PLACE], *rest)
        yield KeptChamber(*values)


def common_events(rows: Iterable[KeptChamber], at: datetime) -> QuerySet[Event]:
    """Return the events of no site that may bear on what was kept of these rows and is not too old anyway."""
    fresh = [row.kept.known_seq for row in rows if row.kept is not None and at - row.kept.known_at < SHOWN_FOR]
    harmless = Q(pk__in=())
    for begin in HARMLESS:
        harmless |= Q(action__startswith=begin)
    since = min(fresh, default=NO_EVENT)
    return Event.objects.filter(site_id_text="", seq__gt=since).exclude(harmless).order_by("-seq")


def log_of(rows: Iterable[KeptChamber], at: datetime) -> Log:
    """Return what the log says since these rows were kept. Two queries."""
    newest = Event.objects.order_by("-seq").values_list("seq", flat=True).first()
    common = common_events(rows, at).values_list("seq", flat=True).first()
    return Log(newest or 0, common or 0)
