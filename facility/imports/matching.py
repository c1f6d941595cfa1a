"""Which stored row a line of a file speaks of, and what is to be done with it."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from facility.models import Entry

if TYPE_CHECKING:
    from facility.imports.cells import Reading
    from facility.imports.kind import FileKind
    from facility.imports.store import Key


BY_IMPORT = "import of "  # how the reason of a correction by a file begins


class Fate(StrEnum):
    """What becomes of a line; the words are fields of facility.imports.report.Count."""

    ADDED = "added"
    CORRECTED = "corrected"
    UNCHANGED = "unchanged"
    LEFT = "left"
    REFUSED = "refused"


@dataclass(slots=True)
class Line:
    """One line that could be read, and the stored row it was matched with."""

    line: int
    key: Key
    reading: Reading
    stored: Any = None
    changed: dict[str, tuple[Any, Any]] = field(default_factory=dict)
    fate: Fate = Fate.ADDED


def match(kind: FileKind, lines: list[Line]) -> None:
    """Set the fate of each line, with the stored row where there is one."""
    by_key: dict[Key, list[Line]] = {}
    for line in lines:
        by_key.setdefault(line.key, []).append(line)
    for key, group in by_key.items():
        store = group[0].reading.store
        current = list(store.rows(kind.file).get(key, ()))
        waiting = [line for line in group if not _equals_one_of(kind, line, current)]
        past = store.past_rows(kind.file).get(key, [])
        for line in waiting:
            _match_rest(kind, line, current, past)


def _equals_one_of(kind: FileKind, line: Line, current: list[Any]) -> bool:
    """Match a line with a stored row that says the same, and take that row out of the list."""
    for row in current:
        if not kind.differences(row, line.reading):
            line.stored, line.fate = row, Fate.UNCHANGED
            current.remove(row)
            return True
    return False


def _match_rest(kind: FileKind, line: Line, current: list[Any], past: list[Any]) -> None:
    """Match a line with the next row of its key: a correction, unless people changed that row since.

    What was taken once and then corrected or withdrawn on the pages is left as people left it.
    """
    if past and issubclass(kind.model, Entry):
        by_people = [row for row in past if not row.retired_reason.startswith(BY_IMPORT)]
        if any(not kind.differences(row, line.reading) for row in by_people):
            line.fate = Fate.LEFT
            return
    elif past and not current:
        line.stored, line.fate = past[-1], Fate.REFUSED
        return
    if current:
        line.stored = current.pop(0)
        line.changed = kind.differences(line.stored, line.reading)
        line.fate = Fate.CORRECTED
