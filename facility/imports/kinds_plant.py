"""The files about equipment: items, the acts that fall due, what was done, defects, openings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility import services
from facility.imports.cells import (
    CellError,
    Column,
    Reading,
    choice,
    day,
    day_or_month,
    instant,
    number,
    reference,
    text,
    whole,
    yes_no,
)
from facility.imports.clauses import CLAUSE, said_by_clause
from facility.imports.kind import FileKind
from facility.imports.kinds_site import CHAMBER
from facility.imports.kinds_upkeep import COUNT, event_kinds
from facility.imports.kinds_upkeep import KINDS as EVENTS
from maintenance.models import (
    Anchor,
    Equipment,
    EquipmentKind,
    IntervalRule,
    Opening,
    OverdueEffect,
    Standing,
    WindowKind,
    WorkRecord,
    WorkResult,
)

if TYPE_CHECKING:
    from facility.imports.store import Key, Store
    from facility.models import Kept, Site

TAG = Column("tag", reference("equipment.csv"), gettext_lazy("tag of the item"), required=True)
RESULTS = ", ".join(WorkResult.values)


class EquipmentFile(FileKind):
    file = "equipment.csv"
    model = Equipment
    about = gettext_lazy("Items with a tag on them.")
    key = ("tag",)
    columns = (
        Column("tag", text(40), gettext_lazy("as on the plate, for example IL-D1"), required=True),
        Column("name", text(150), gettext_lazy("what it is"), required=True),
        Column("kind", choice(EquipmentKind), gettext_lazy("sort of thing"), ", ".join(EquipmentKind.values),
               required=True),
        Column("chamber", reference("chambers.csv"), gettext_lazy("key of its chamber; empty: the whole site")),
        Column("lock", reference("locks.csv", "chamber"), gettext_lazy("key of its lock in that chamber")),
        Column("place", text(120), gettext_lazy("where it hangs")),
        Column("maker", text(120), gettext_lazy("maker")),
        Column("serial", text(80), gettext_lazy("serial number; leave it empty if there is none")),
        Column("purpose", text(300), gettext_lazy("what it is for")),
        Column("in_service_on", day, gettext_lazy("in service since")),
        Column("life_ends_on", day, gettext_lazy("last day of its service life")),
    )  # fmt: skip

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(site=site).select_related("site", "chamber__site", "lock__chamber__site")

    def fixed(self, store: Store) -> dict[str, Any]:
        return {"site": store.the_site()}

    def check(self, reading: Reading) -> None:
        maker, serial = reading.values.get("maker") or "", reading.values.get("serial") or ""
        if not serial:
            return
        known = reading.store.notes.get("serials") or self._serials(reading.store)
        tag = known.get((maker, serial))
        if tag is not None and tag != reading.values["tag"]:
            raise CellError(
                _("is the serial number of %(tag)s too, of the same maker") % {"tag": tag}, _("one item for each number"),
                _("Read both plates again; leave the cell empty if a plate cannot be read."), "serial",
            )  # fmt: skip
        known[maker, serial] = reading.values["tag"]

    def _serials(self, store: Store) -> dict[tuple[str, str], str]:
        found: dict[tuple[str, str], str] = {}
        for rows in store.rows(self.file).values():
            found.update(
                {(row.maker, row.serial): row.tag for row in rows if isinstance(row, Equipment) and row.serial}
            )
        store.notes["serials"] = found
        return found


class IntervalFile(FileKind):
    file = "intervals.csv"
    model = IntervalRule
    about = gettext_lazy("Acts that fall due on items, and when each was last done.")
    key = ("tag", "act")
    columns = (
        TAG,
        Column("act", text(120), gettext_lazy("for example calibration"), required=True),
        Column("months", whole(0, 600), gettext_lazy("every so many months")),
        Column("days", whole(0, 9999), gettext_lazy("every so many days, on top of the months")),
        Column("window_days", whole(0, 999), gettext_lazy("late window; whether it keeps good is a house rule")),
        Column("counts", yes_no, gettext_lazy("yes: counts for readiness"), "yes, no"),
        Column(
            "effect",
            choice(OverdueEffect),
            gettext_lazy("overdue, it takes the item out or restricts it; empty: out"),
            ", ".join(OverdueEffect.values),
        ),
        Column(
            "anchor",
            choice(Anchor),
            gettext_lazy("next from the day done, or from the day due"),
            ", ".join(Anchor.values),
        ),
        Column(
            "window_kind", choice(WindowKind), gettext_lazy("how the window is given"), ", ".join(WindowKind.values)
        ),
        Column("window_months", whole(0, 600), gettext_lazy("window after, months; with window_days")),
        Column("early_months", whole(0, 600), gettext_lazy("window before, or earliest after the last act, months")),
        Column("early_days", whole(0, 999), gettext_lazy("the same, days")),
        Column("window_percent", number("0", "50"), gettext_lazy("window in percent of the interval")),
        Column("counter", reference("counters.csv"), gettext_lazy("key of the counter of its counts")),
        Column("count_every", COUNT, gettext_lazy("every so many counts")),
        Column("count_life", COUNT, gettext_lazy("life in counts")),
        Column("count_at_fitting", COUNT, gettext_lazy("count when it was fitted")),
        Column("life_months", whole(0, 1200), gettext_lazy("life in months")),
        Column("life_begins_on", day, gettext_lazy("when that life began; empty: in service since")),
        Column("triggers", event_kinds, gettext_lazy("also due after these events, by commas"), EVENTS),
        Column("defer_months", whole(0, 600), gettext_lazy("each clean look puts it off by so many months")),
        Column("hard_stop_months", whole(0, 1200), gettext_lazy("never later than so many months")),
        Column("acceptance", text(500), gettext_lazy("what passes")),
        Column("who_may", text(200), gettext_lazy("who may do it")),
        Column("evidence_asked", text(300), gettext_lazy("evidence it demands")),
        CLAUSE,
        Column(
            "source", text(200), gettext_lazy("code, edition and clause; empty with a clause: as the book names it")
        ),
        Column(
            "standing", choice(Standing), gettext_lazy("how the number came to the site"), ", ".join(Standing.values)
        ),
        Column("house_reason", text(500), gettext_lazy("why the house differs from the clause")),
        Column("approved_by", text(150), gettext_lazy("who approved that")),
        Column("last_done", day_or_month, gettext_lazy("day it was last done; empty: never recorded"), stored=False),
        Column("result", choice(WorkResult), gettext_lazy("what came of it; empty: passed"), RESULTS, stored=False),
        Column("done_by", text(150), gettext_lazy("who did it"), stored=False),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(equipment__site=site).select_related("equipment__site", "counter__site")

    def field_of(self, column: str) -> str:
        return {"tag": "equipment", "act": "name", "clause": "requirement"}.get(column, column)

    def beside(self, reading: Reading) -> dict[str, Any]:
        return said_by_clause(reading)

    def check(self, reading: Reading) -> None:
        values = reading.values
        if values.get("last_done") is not None and not values.get("done_by"):
            raise CellError(
                _("nobody is named for what was last done"), "", _("Write who did it, or “not known”."), "done_by"
            )

    def differences(self, stored: Any, reading: Reading) -> dict[str, tuple[Any, Any]]:
        found = super().differences(stored, reading)
        done = reading.values.get("last_done")
        if done is not None and not self._recorded(stored, reading):
            found["last_done"] = ("", done)
        return found

    def add(self, reading: Reading) -> Kept:
        rule = super().add(reading)
        self._record_last(rule, reading)
        return rule

    def correct(self, stored: Any, changed: dict[str, tuple[Any, Any]], reading: Reading) -> Kept:
        rule = super().correct(stored, changed, reading)
        self._record_last(rule, reading)
        return rule

    def _recorded(self, rule: Any, reading: Reading) -> bool:
        key = (reading.values["tag"], rule, reading.values["last_done"])
        return key in reading.store.rows("work.csv") or key in reading.store.past_rows("work.csv")

    def _record_last(self, rule: Any, reading: Reading) -> None:
        values = reading.values
        if values.get("last_done") is None or self._recorded(rule, reading):
            return
        record = WorkRecord(
            equipment=values["tag"], rule=rule, done_on=values["last_done"],
            result=values.get("result") or WorkResult.PASSED, done_by=values["done_by"],
        )  # fmt: skip
        reading.store.put("work.csv", services.add(record, by=reading.store.by, action="imported"))


class WorkFile(FileKind):
    file = "work.csv"
    model = WorkRecord
    about = gettext_lazy("What was done on items, one line each time; failures too.")
    key = ("tag", "act", "done_on")
    repeats = True
    columns = (
        TAG,
        Column(
            "act", reference("intervals.csv", "tag"), gettext_lazy("as in intervals.csv; empty: outside any interval")
        ),
        Column("done_on", day_or_month, gettext_lazy("day it was done"), required=True),
        Column("result", choice(WorkResult), gettext_lazy("what came of it"), RESULTS, required=True),
        Column("due_on", day, gettext_lazy("next due, only where the certificate gives its own day")),
        Column("done_by", text(150), gettext_lazy("who did it"), required=True),
        Column("note", text(500), gettext_lazy("note")),
        Column("count", COUNT, gettext_lazy("running total of the act's counter when it was done")),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(equipment__site=site).select_related("equipment__site", "rule__equipment__site")

    def field_of(self, column: str) -> str:
        return {"tag": "equipment", "act": "rule"}.get(column, column)

    def key_of(self, row: Any) -> Key:
        return (row.equipment, row.rule, row.done_on)

    def check(self, reading: Reading) -> None:
        due, done = reading.values.get("due_on"), reading.values["done_on"]
        if due is not None and due < done:
            raise CellError(
                _("comes before the day it was done, %(day)s") % {"day": done}, _("a later day"),
                _("Read both days on the certificate again."), "due_on",
            )  # fmt: skip


class OpeningFile(FileKind):
    file = "openings.csv"
    model = Opening
    about = gettext_lazy("When a chamber was opened for work; checks signed before no longer count.")
    key = ("chamber", "opened_at")
    happened = "opened_at"
    columns = (
        CHAMBER,
        Column("opened_at", instant, gettext_lazy("local time"), required=True),
        Column("work", text(300), gettext_lazy("for what"), required=True),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(chamber__site=site).select_related("chamber__site")
