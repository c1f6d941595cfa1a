"""The figures of a run as they are kept with its record: plain JSON, and read back for a page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from treatments.compute.conformity import Departure, Deviation
from treatments.figures.plain import as_plain
from treatments.figures.words import departure_words, revision_words, wait_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from treatments.figures.state import Figures

#: what stands in the log, the table or the file already, or moves with the clock of the reader
LEFT_OUT = frozenset(
    {"as_of", "plan", "moved", "track", "used", "events", "next_events", "readings", "recorded", "version"}
)
LEFT_OUT_OF_PEOPLE = frozenset({"segments", "breathing_since_at", "planned_dose"})


@dataclass(frozen=True, slots=True)
class Departed:
    """One departure from the table with its size and whom it concerns."""

    who: str
    words: str
    found: Deviation


@dataclass(frozen=True, slots=True)
class Waiting:
    """One wait in words, with the revisions that state it alike. ``until``: aware."""

    what: str
    revision: str
    hours: float
    until: datetime
    about: str


def kept_of(figures: Figures) -> dict[str, Any]:
    """Return the figures that a record keeps: the same log gives the same text, whenever it is asked."""
    found = {name: value for name, value in as_plain(figures).items() if name not in LEFT_OUT}
    found["people"] = [
        {name: value for name, value in one.items() if name not in LEFT_OUT_OF_PEOPLE} for one in found["people"]
    ]
    for gas in found["gas"]:
        _without_nothing(gas)
        for bank in gas["banks"]:
            _without_nothing(bank)
    return found


def _without_nothing(used: dict[str, Any]) -> None:
    """Leave out the span of what was measured: records that were closed before there were spans stay the same."""
    if used["unmeasured"] is None:
        del used["unmeasured"]


def departures_of(kept: Mapping[str, Any]) -> list[Departed]:
    """Return the departures from the table that a record keeps."""
    if not kept.get("conformity"):
        return []
    found = []
    for labels, one in kept["conformity"]["found"]:
        deviation = Deviation(**one | {"kind": Departure(one["kind"])})
        found.append(Departed(", ".join(labels), departure_words(deviation.kind), deviation))
    return found


def people_of(kept: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the people under pressure, their instants and waits ready for a page."""
    return [
        one
        | {"starts_at": datetime.fromisoformat(one["starts_at"]), "ends_at": datetime.fromisoformat(one["ends_at"]),
           "owed": [part | {"words": revision_words(part["revision"])} for part in one["owed"]],
           "waits": waits_of(one)}
        for one in kept["people"]
    ]  # fmt: skip


def waits_of(kept: Mapping[str, Any]) -> list[Waiting]:
    """Return the waits that are stated, the revisions that agree in one line."""
    found: dict[tuple[str, str], Waiting] = {}
    for one in kept.get("waits", ()):
        if one["until"] is None:
            continue
        key = (one["purpose"], one["until"])
        revision = revision_words(one["revision"])
        if key in found:
            revision = f"{found[key].revision}; {revision}"
        until = datetime.fromisoformat(one["until"])
        found[key] = Waiting(wait_words(one["purpose"]), revision, one["hours"], until, one["about"])
    return list(found.values())


def stops_of(kept: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the stops with their instants."""
    return [
        one | {"arrived_at": datetime.fromisoformat(one["arrived_at"]),
               "left_at": datetime.fromisoformat(one["left_at"]) if one["left_at"] else None}
        for one in kept.get("stops", ())
    ]  # fmt: skip
