"""How a run stands by its log, as plain values for the screen: depth, people, last values, what is due."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from treatments.compute.log_kinds import KINDS
from treatments.compute.tables import TableError
from treatments.log.ahead import ahead
from treatments.log.wording import MARKS
from treatments.models import LogKind
from treatments.table_book.tables import table_of_run

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from treatments.models import LogEntry, Run, RunPlace

Plain = dict[str, Any]
_BREATHING = {LogKind.OXYGEN_ON: "oxygen", LogKind.OXYGEN_OFF: "off", LogKind.AIR_BREAK: "break"}
_PLACE = {LogKind.LOCK_IN: True, LogKind.LOCK_OUT: False}
_DEPTH_NEXT = {
    None: LogKind.REACHED_DEPTH, LogKind.LEFT_SURFACE: LogKind.REACHED_DEPTH, LogKind.REACHED_DEPTH: LogKind.LEFT_DEPTH,
    LogKind.LEFT_DEPTH: LogKind.REACHED_STOP, LogKind.REACHED_STOP: LogKind.LEFT_STOP, LogKind.LEFT_STOP: LogKind.REACHED_STOP,
}  # fmt: skip


def instant(at: datetime | None) -> str:
    """Return an instant for the screen's script, with its offset."""
    return "" if at is None else at.isoformat(timespec="milliseconds")


def state_of(run: Run, entries: Sequence[LogEntry], places: Sequence[RunPlace], every_min: int) -> Plain:
    """Return how the run stands. ``entries``: those that count, in the order in which they happened."""
    depths = [row for row in entries if row.depth is not None]
    readings = [row for row in entries if row.kind == LogKind.READING]
    last = depths[-1] if depths else None
    return {
        "started": instant(run.started_at), "ended": instant(run.ended_at), "closed": instant(run.closed_at),
        "outside": run.outside_house_rules,
        "writer": run.writer, "writer_device": run.writer_device, "writer_since": instant(run.writer_since),
        "depth": f"{last.depth.normalize():f}" if last and last.depth is not None else "",
        "depth_unit": last.depth_unit if last else "", "depth_at": instant(last.occurred_at) if last else "",
        "reading_at": instant(readings[-1].occurred_at if readings else run.started_at), "reading_every_min": every_min,
        "people": _people(entries, places), "last": _last_values(entries), "depth_next": _depth_next(run, entries),
        "lost": _lost(entries), "ahead": _ahead(run, entries),
    }  # fmt: skip


def _people(entries: Sequence[LogEntry], places: Sequence[RunPlace]) -> list[Plain]:
    found: dict[int, Plain] = {}
    for place in places:
        if place.inside:
            found[place.pk] = {"pk": place.pk, "label": place.label, "role": place.role, "inside": True,
                               "breathing": "", "since": ""}  # fmt: skip
    for row in entries:
        person = found.get(row.occupant_id or 0)
        if person is None:
            continue
        if row.kind in _BREATHING:
            person["breathing"], person["since"] = _BREATHING[LogKind(row.kind)], instant(row.occurred_at)
        elif row.kind in _PLACE:
            person["inside"] = _PLACE[LogKind(row.kind)]
    return list(found.values())


def _last_values(entries: Sequence[LogEntry]) -> Plain:
    """Return the last value by its key, with when it was read; shown beside a field, never in it."""
    found: Plain = {}
    for row in entries:
        for key, value in row.values.items():
            if key not in MARKS and KINDS[row.kind].value(key) and key != "code":
                found[key] = {"value": value, "at": instant(row.occurred_at)}
    return found


def _depth_next(run: Run, entries: Sequence[LogEntry]) -> str:
    """Return the change of depth that comes next by the order of things; the others stay within reach."""
    if run.started_at is None:
        return str(LogKind.LEFT_SURFACE)
    last = next((row.kind for row in reversed(entries) if row.kind in _DEPTH_NEXT), None)
    return str(_DEPTH_NEXT[LogKind(last) if last else None])


def _lost(entries: Sequence[LogEntry]) -> Plain:
    found = {"communication": False, "oxygen": False}
    for row in entries:
        name, _line, end = str(row.kind).rpartition("_")
        if end in ("lost", "back") and name in found:
            found[name] = end == "lost"
    return found


def _ahead(run: Run, entries: Sequence[LogEntry]) -> list[Plain]:
    if run.started_at is None or run.ended_at is not None:
        return []
    try:
        table = table_of_run(run)
    except TableError:
        return []
    if table is None:
        return []
    return [
        {"at": instant(one.at), "what": one.what, "depth_fsw": one.depth_fsw}
        for one in ahead(table, entries, run.started_at)
    ]
