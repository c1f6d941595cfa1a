"""The lines of one file: read, matched, stored, each with its fate in the report."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from facility.counted import counted
from facility.imports.cells import CellError, Reading, RestsOnRefusedError
from facility.imports.matching import Fate, Line, match
from facility.imports.parts import Part, PartFile
from facility.imports.report import Correction, Problem

if TYPE_CHECKING:
    from datetime import timedelta

    from facility.imports.formats import FileFormat
    from facility.imports.kind import FileKind
    from facility.imports.report import Report
    from facility.imports.store import Key, Store
    from facility.imports.tables import Table


TOLD_EACH = 50
"""After so many lines of a file it is told how far it is."""


def take_file(kind: FileKind, table: Table, setting: tuple[Store, FileFormat, timedelta], report: Report) -> None:
    """Take in one file; the store and the report tell what came of it."""
    store, stated, shift = setting
    zone = ZoneInfo(stated.time_zone or (store.site.zone if store.site else "UTC"))
    lines: list[Line] = []
    seen: dict[Any, int] = {}
    report.count(kind.file)
    for number, cells in table.rows:
        reading = Reading(kind.file, stated, zone, store, shift)
        problems = read_line(kind, number, cells, reading)
        key = _key_of(kind, reading)
        if not problems:
            problems = _repeated(kind, number, (key, cells), seen)
        if problems:
            _refuse(kind, number, key, problems, (store, report))
        else:
            lines.append(Line(number, key or (), reading))
    if isinstance(kind, PartFile):
        _gather(kind, lines, store)
        return
    _judge_and_store(kind, lines, store, report)


def read_line(kind: FileKind, number: int, cells: dict[str, str], reading: Reading) -> list[Problem]:
    """Read the cells of one line into ``reading`` and return what is wrong with them."""
    problems = []
    for column in kind.columns:
        given = cells.get(column.name, "")
        if not given:
            reading.blank.add(column.name)
            if column.required:
                what, advice = _("this cell is empty and must not be"), str(column.about)
                problems.append(
                    Problem(kind.file, number, column.name, "", what, column.allowed, f"{_('Write')}: {advice}.")
                )
            continue
        try:
            reading.values[column.name] = column.read(given, reading)
        except RestsOnRefusedError:
            reading.blank.discard(column.name)
        except CellError as error:
            problems.append(Problem(kind.file, number, column.name, given, error.what, error.allowed, error.advice))
    return problems


def _key_of(kind: FileKind, reading: Reading) -> Key | None:
    """Return the natural key of a line, or None if part of it could not be read."""
    if any(name not in reading.values and name not in reading.blank for name in kind.key):
        return None
    return tuple(reading.values.get(name) for name in kind.key)


def _repeated(
    kind: FileKind, number: int, line: tuple[Key | None, dict[str, str]], seen: dict[Any, int]
) -> list[Problem]:
    key, cells = line
    mark = (key, tuple(sorted(cells.items()))) if kind.repeats else key
    if mark in seen:
        what = _("repeats line %(line)s") % {"line": seen[mark]}
        column = kind.key[-1]
        advice = _("Keep one of both lines; one line is one %(key)s.") % {"key": " + ".join(kind.key)}
        return [Problem(kind.file, number, column, cells.get(column, ""), what, "", advice)]
    seen[mark] = number
    return []


def _refuse(kind: FileKind, number: int, key: Key | None, problems: list[Problem], told: tuple[Store, Report]) -> None:
    store, report = told
    report.problems += problems
    report.count(kind.file).refused += 1
    if key is not None:
        store.refused.setdefault((kind.file, key), number)


def _gather(kind: PartFile, lines: list[Line], store: Store) -> None:
    """Keep lines for the rows of another file."""
    gathered = store.parts.setdefault(kind.file, {})
    for line in lines:
        gathered.setdefault(kind.owner(line.reading), []).append(Part(kind.file, line.line, line.reading.values))


def _judge_and_store(kind: FileKind, lines: list[Line], store: Store, report: Report) -> None:
    good = []
    for line in lines:
        try:
            kind.check(line.reading)
        except CellError as error:
            line.fate = Fate.REFUSED
            _refuse(kind, line.line, line.key, [_of_cell(kind, line, error)], (store, report))
        else:
            good.append(line)
    match(kind, good)
    for done, line in enumerate(good):
        if done and done % TOLD_EACH == 0:
            told = {"file": kind.file, "done": done, "lines": counted(len(good), "line", "lines")}
            store.say(_("%(file)s: %(done)d of %(lines)s") % told)
        _store_line(kind, line, store, report)
    _count_parts(kind, lines, store, report)


def _of_cell(kind: FileKind, line: Line, error: CellError) -> Problem:
    if error.place is not None:
        place = error.place
        return Problem(place.file, place.line, error.column, place.value, error.what, error.allowed, error.advice)
    value = line.reading.values.get(error.column)
    shown = "" if value is None else str(value)
    return Problem(kind.file, line.line, error.column, shown, error.what, error.allowed, error.advice)


def _store_line(kind: FileKind, line: Line, store: Store, report: Report) -> None:
    if line.fate is Fate.REFUSED:
        what = _("%(what)s was retired at this site") % {"what": line.stored}
        problem = Problem(kind.file, line.line, kind.key[-1], str(line.key[-1]), what, "", _("Take the line out."))
        _refuse(kind, line.line, line.key, [problem], (store, report))
        return
    try:
        with transaction.atomic():
            _write(kind, line, store)
    except CellError as error:
        line.fate = Fate.REFUSED
        _refuse(kind, line.line, line.key, [_of_cell(kind, line, error)], (store, report))
        return
    except IntegrityError:
        line.fate = Fate.REFUSED
        what, advice = _("somebody stored another row of this key meanwhile"), _("Import again.")
        problem = Problem(kind.file, line.line, kind.key[-1], str(line.key[-1]), what, "", advice)
        _refuse(kind, line.line, line.key, [problem], (store, report))
        return
    except ValidationError as error:
        line.fate = Fate.REFUSED
        _refuse(kind, line.line, line.key, _of_validation(kind, line, error), (store, report))
        return
    count = report.count(kind.file)
    setattr(count, line.fate.value, getattr(count, line.fate.value) + 1)
    report.corrections += [
        Correction(kind.file, line.line, name, _plain(old), _plain(new)) for name, (old, new) in line.changed.items()
    ]


def _write(kind: FileKind, line: Line, store: Store) -> None:
    if line.fate is Fate.ADDED:
        store.put(kind.file, kind.add(line.reading))
    elif line.fate is Fate.CORRECTED:
        row = kind.correct(line.stored, line.changed, line.reading)
        store.put(kind.file, row, line.stored)


def _of_validation(kind: FileKind, line: Line, error: ValidationError) -> list[Problem]:
    """Turn a refusal of the model into problems at the columns it is about."""
    columns = {kind.field_of(column.name): column.name for column in kind.columns}
    if not hasattr(error, "error_dict"):
        return [Problem(kind.file, line.line, "", "", " ".join(error.messages).rstrip("."))]
    found = []
    for field, refusals in error.error_dict.items():
        column = columns.get(field, "")
        value = line.reading.values.get(column)
        shown = "" if value is None else str(value)
        found += [_problem(one, Problem(kind.file, line.line, column, shown, "")) for one in refusals]
    return found


def _problem(refusal: ValidationError, at: Problem) -> Problem:
    """Put one refusal of the model into words; more decimals than are kept may be a thousand separator."""
    if refusal.code == "max_decimal_places":
        return replace(
            at, what=_("has more decimals than are kept"),
            allowed=_("at most %(most)s decimals") % {"most": (refusal.params or {}).get("max")},
            advice=_("Round it; or take the mark out, if it stands for thousands."),
        )  # fmt: skip
    return replace(at, what=" ".join(refusal.messages).rstrip("."))


def _count_parts(kind: FileKind, lines: list[Line], store: Store, report: Report) -> None:
    """Give the lines that belong to rows of this file the fate of their row."""
    fates = {line.key: line.fate for line in lines}
    for file, owners in store.parts.items():
        part_kind = store.kinds[file]
        if not isinstance(part_kind, PartFile) or part_kind.part_of != kind.file:
            continue
        for owner, parts in owners.items():
            fate = fates.get(owner, Fate.REFUSED)
            count = report.count(file)
            setattr(count, fate.value, getattr(count, fate.value) + len(parts))


def ownerless_lines(store: Store, files: set[str]) -> list[Problem]:
    """Return the lines whose row is not in the file that they belong to."""
    problems = []
    for file, owners in store.parts.items():
        kind = store.kinds[file]
        if not isinstance(kind, PartFile):
            continue
        known = _owners_taken(store, kind, files)
        for (_chamber, key), parts in owners.items():
            if (_chamber, key) not in known:
                what = _("has no line in %(whole)s of this import") % {"whole": kind.part_of}
                advice = _("Put its line there too, or correct the key.")
                problems += [Problem(file, part.line, kind.of, key, what, "", advice) for part in parts]
    return problems


def _owners_taken(store: Store, kind: PartFile, files: set[str]) -> set[Key]:
    if kind.part_of not in files:
        return set()
    refused = {key for file, key in store.refused if file == kind.part_of}
    return set(store.rows(kind.part_of)) | refused


def _plain(value: Any) -> str:
    return "" if value is None else str(value)
