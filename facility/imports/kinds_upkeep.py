"""The files about what makes an act due beside the calendar: counters, their readings, events, looks that put off."""

from __future__ import annotations

from bisect import bisect_left
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility.imports.cells import (
    CellError,
    Column,
    Reading,
    choice,
    day,
    instant,
    number,
    reference,
    slug,
    text,
    yes_no,
)
from facility.imports.kind import FileKind
from maintenance.compute.counters import offset_on
from maintenance.models import Counter, CounterReading, CounterUnit, Deferral, Happening, HappeningKind
from maintenance.readiness.rule_rows import triggers_of
from maintenance.upkeep.services import meters_of

if TYPE_CHECKING:
    from datetime import datetime
    from decimal import Decimal

    from facility.imports.store import Key, Store
    from facility.models import Site

COUNT = number("0", "9999999999")
KINDS = ", ".join(HappeningKind.values)


def event_kinds(given: str, _reading: Reading) -> str:
    """Read kinds of events, by commas."""
    words = triggers_of(given)
    unknown = [word for word in words if word not in HappeningKind.values]
    if unknown:
        raise CellError(
            _("names “%(word)s”, which is no event") % {"word": unknown[0]}, KINDS, _("Write these words, by commas.")
        )
    return ", ".join(words)


class CounterFile(FileKind):
    file = "counters.csv"
    model = Counter
    about = gettext_lazy("Things that only count up: pressure cycles of a chamber, running hours of a machine.")
    key = ("key",)
    columns = (
        Column("key", slug, gettext_lazy("short name of the counter in these files"), required=True),
        Column("name", text(120), gettext_lazy("what it is called"), required=True),
        Column(
            "counts", choice(CounterUnit), gettext_lazy("what it counts"), ", ".join(CounterUnit.values), required=True
        ),
        Column("chamber", reference("chambers.csv"), gettext_lazy("key of the chamber whose runs raise it")),
        Column("tag", reference("equipment.csv"), gettext_lazy("tag of the item that its meter is on")),
        Column("per_run", number("0", "999999"), gettext_lazy("what each run adds")),
        Column("per_hour", number("0", "999999"), gettext_lazy("what each hour of a run adds")),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(site=site).select_related("site", "chamber__site", "equipment__site")

    def fixed(self, store: Store) -> dict[str, Any]:
        return {"site": store.the_site()}

    def field_of(self, column: str) -> str:
        return {"counts": "unit", "tag": "equipment"}.get(column, column)


class CounterReadingFile(FileKind):
    file = "counter_readings.csv"
    model = CounterReading
    about = gettext_lazy("What counters showed. A counter only goes up.")
    key = ("counter", "read_at")
    happened = "read_at"
    columns = (
        Column("counter", reference("counters.csv"), gettext_lazy("key of the counter"), required=True),
        Column("read_at", instant, gettext_lazy("local time"), required=True),
        Column("value", COUNT, gettext_lazy("what it showed"), required=True),
        Column("read_by", text(150), gettext_lazy("who read it"), required=True),
        Column("note", text(300), gettext_lazy("note")),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(counter__site=site).select_related("counter__site")

    def check(self, reading: Reading) -> None:
        """Refuse a value that a reading before or after it contradicts."""
        counter, at = reading.values["counter"], reading.values["read_at"]
        known = reading.store.notes.setdefault("counts", {})
        if counter.pk not in known:
            known[counter.pk] = self._stored(counter)
        totals, offset = known[counter.pk]
        value = reading.values["value"] + offset(at)
        instants = sorted(totals)
        place = bisect_left(instants, at)
        before = totals[instants[place - 1]] if place else None
        later = [one for one in instants[place:] if one != at]
        after = totals[later[0]] if later else None
        if (before is not None and value < before) or (after is not None and value > after):
            raise CellError(
                _("does not fit the readings around it"),
                _("%(low)s to %(high)s") % {"low": before if before is not None else 0, "high": after or "…"},
                _("A counter only goes up. Read it again; a replaced meter is recorded on the counter's page."), "value",
            )  # fmt: skip
        totals[at] = value

    def _stored(self, counter: Counter) -> tuple[dict[datetime, Decimal], Any]:
        zone, replaced = ZoneInfo(counter.site.zone), meters_of(counter).replaced

        def offset(at: datetime) -> Decimal:
            return offset_on(at.astimezone(zone).date(), replaced)

        rows = counter.readings.filter(retired_at=None).values_list("read_at", "value")
        return {at: value + offset(at) for at, value in rows}, offset


class HappeningFile(FileKind):
    file = "happenings.csv"
    model = Happening
    about = gettext_lazy("What happened to items and may ask for an act anew.")
    key = ("tag", "kind", "happened_on")
    columns = (
        Column("tag", reference("equipment.csv"), gettext_lazy("tag of the item"), required=True),
        Column("kind", choice(HappeningKind), gettext_lazy("what happened"), KINDS, required=True),
        Column("happened_on", day, gettext_lazy("the day"), required=True),
        Column("reported_by", text(150), gettext_lazy("who told of it"), required=True),
        Column("note", text(500), gettext_lazy("note")),
    )

    def scope(self, site: Site) -> Any:
        return self.all_rows().filter(equipment__site=site).select_related("equipment__site")

    def field_of(self, column: str) -> str:
        return {"tag": "equipment"}.get(column, column)


class DeferralFile(FileKind):
    file = "deferrals.csv"
    model = Deferral
    about = gettext_lazy("Looks that put an act off as its rule allows, never past its hard stop.")
    key = ("tag", "act", "looked_on")
    columns = (
        Column("tag", reference("equipment.csv"), gettext_lazy("tag of the item"), required=True, stored=False),
        Column("act", reference("intervals.csv", "tag"), gettext_lazy("as in intervals.csv"), required=True),
        Column("looked_on", day, gettext_lazy("day of the look"), required=True),
        Column("no_damage", yes_no, gettext_lazy("yes: no corrosion or damage was found"), "yes, no", required=True),
        Column("looked_by", text(150), gettext_lazy("who looked"), required=True),
        Column("approved_by", text(150), gettext_lazy("who put it off"), required=True),
        Column("why", text(500), gettext_lazy("why"), required=True),
    )

    def scope(self, site: Site) -> Any:
        rows = self.all_rows().filter(rule__equipment__site=site)
        return rows.select_related("rule__equipment__site")

    def field_of(self, column: str) -> str:
        return {"act": "rule"}.get(column, column)

    def key_of(self, row: Any) -> Key:
        return (row.rule.equipment, row.rule, row.looked_on)
