"""Records as tables: CSV for people and spreadsheets, JSON lines with the values as they are stored."""

from __future__ import annotations

import csv
import hashlib
import json
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from facility.compute.csv_writing import csv_text, safe_cell
from facility.models import Evidence, Pack
from facility.pack import fields, rows

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from facility.pack.fields import Table
    from facility.pack.people import Names
    from facility.pack.scope import Scope

BATCH: Final = 1000
LINE_ENDS: Final = ("\x85", "\u2028", "\u2029")
HIDDEN: Final = ("in_this_pack", "age_band")
"""Columns of a table that tells of people in runs: their name in this pack, and the band of their age."""


@dataclass(slots=True)
class Written:
    """What was written: rows by table, and the files that the records name as their proof."""

    counts: dict[str, int] = field(default_factory=dict)
    proofs: dict[int, list[str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Frame:
    """What every table of a pack is made with."""

    pack: Pack
    scope: Scope
    using: str
    names: Names
    folder: Path
    files: frozenset[int] = frozenset()


def stored(value: Any) -> Any:
    """Return a value for JSON as it is stored: instants in UTC, decimals with their digits as text."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Decimal | UUID):
        return str(value)
    if isinstance(value, bytes | memoryview):
        return bytes(value).hex()
    return value


def shown(value: Any, zone: ZoneInfo) -> str:
    """Return a value as a cell: an instant by the site's clock with its offset, so that its day is the site's."""
    if isinstance(value, datetime):
        return value.astimezone(zone).isoformat()
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict | list):
        return compact(value)
    return "" if value is None else str(stored(value))


def compact(value: Any) -> str:
    """Return JSON in one fixed way of writing, on one line for whoever counts other marks as ends of lines too."""
    text = json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    for mark in LINE_ENDS:
        text = text.replace(mark, f"\\u{ord(mark):04x}")
    return text


def write_all(frame: Frame, say: Callable[[str], object]) -> Written:
    """Write every table that has a place in the scope, and what is said of their columns."""
    done = Written()
    known = [table for table in fields.tables() if rows.is_in(table, frame.scope) and not table.only_attached]
    for number, table in enumerate(known, 1):
        say(f"{number}/{len(known)} {table.name}")
        done.counts[table.name] = write(table, frame, done)
    return done


def write(table: Table, frame: Frame, done: Written) -> int:
    """Write one table and return how many rows it has."""
    head = [*heads(table), *(HIDDEN if table.people else ())]
    zone = ZoneInfo(frame.scope.site.zone)
    count = 0
    with (
        (frame.folder / f"{table.name}.csv").open("w", encoding="utf-8", newline="") as sheet,
        (frame.folder / f"{table.name}.jsonl").open("w", encoding="utf-8", newline="\n") as lines,
    ):
        writer = csv.writer(sheet, lineterminator="\r\n")
        writer.writerow([safe_cell(name) for name in head])
        for row in _rows(table, frame):
            _note_proofs(table, row, done)
            writer.writerow([safe_cell(shown(value, zone)) for value in row.values()])
            lines.write(compact({name: stored(value) for name, value in row.items()}) + "\n")
            count += 1
    return count


def heads(table: Table) -> list[str]:
    """Return the columns with their units."""
    found = []
    for name in table.exported:
        unit = table.units.get(name, "")
        found.append(f"{table.attname(name)} [{unit}]" if unit else table.attname(name))
    return found + [f"{table.attname(name)}_sha256" for name in table.digest]


def _rows(table: Table, frame: Frame) -> Iterator[dict[str, Any]]:
    """Yield the rows as columns by name: nothing that is not exported is in them."""
    found = rows.rows_of(table, frame.scope, frame.using)
    if table.only_attached:
        found = table.model._base_manager.using(frame.using).filter(pk__in=frame.files).order_by("pk")
    if table.model is Pack:
        found = found.filter(number__lt=frame.pack.number)
    exported = [table.attname(name) for name in table.exported]
    digest = [table.attname(name) for name in table.digest]
    hidden = [table.attname(name) for name in table.people]
    for values in found.values_list(*exported, *digest).iterator(chunk_size=BATCH):
        row = dict(zip(exported, values, strict=False))
        for name, value in zip(digest, values[len(exported) :], strict=True):
            row[f"{name}_sha256"] = _digest(value)
        if hidden:
            _hide(row, hidden, frame.names)
        yield row


def _hide(row: dict[str, Any], columns: Sequence[str], names: Names) -> None:
    """Put this pack's name in the place of the number by which the app knows somebody."""
    for column in columns:
        found = names.of(row[column])
        row["in_this_pack"], row["age_band"] = (found.name, found.age_band) if found else ("", "")
        if found:
            row[column] = None


def _digest(value: Any) -> str:
    text = value if isinstance(value, str) else compact(value)
    return hashlib.sha256(text.encode()).hexdigest() if value not in (None, "") else ""


def _note_proofs(table: Table, row: dict[str, Any], done: Written) -> None:
    for name in table.attach:
        if row[table.attname(name)]:
            done.proofs.setdefault(row[table.attname(name)], []).append(f"{table.name} {row.get('id') or ''}".strip())


def write_columns(path: Path) -> None:
    """Write what became of every field: given, given as a digest, or kept back and why."""
    told: list[Sequence[object]] = []
    for table in fields.tables():
        told += [(table.name, table.attname(name), table.units.get(name, ""), "as stored") for name in table.exported]
        told += [(table.name, f"{table.attname(name)}_sha256", "", "as its SHA-256") for name in table.digest]
        told += [
            (table.name, table.attname(name), "", f"kept back unless released: {why}")
            for name, why in table.release.items()
        ]
        told += [(table.name, table.attname(name), "", f"kept back: {why}") for name, why in table.kept.items()]
    path.write_text(csv_text(("table", "column", "unit", "how it is given"), told), encoding="utf-8", newline="")


def evidence_table() -> Table:
    """Return the table of files."""
    return fields.by_label()[Evidence._meta.label_lower]
