"""From the bytes of the files to rows of named cells; a file that cannot be read is said to be so."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility.compute.csv_reading import CsvError, Trouble, decode, rows_of
from facility.counted import counted
from facility.imports.formats import COLUMNS, SETTINGS, FileFormat, Formats, read_formats
from facility.imports.kinds import BY_FILE, KINDS
from facility.imports.report import Problem

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from facility.imports.report import Report


@dataclass(frozen=True, slots=True)
class Table:
    """The rows of one file: line number and cells by column."""

    file: str
    rows: list[tuple[int, dict[str, str]]]


@dataclass(frozen=True, slots=True)
class Tables:
    """All files of one import, and how each is written."""

    by_file: dict[str, Table]
    formats: Formats


def read_tables(files: Mapping[str, bytes], report: Report) -> Tables:
    """Read every file; what cannot be read or does not belong goes into the report."""
    by_file: dict[str, Table] = {}
    formats = Formats({})
    known = [kind.file for kind in KINDS]
    if SETTINGS in files:
        table = _table(SETTINGS, files[SETTINGS], FileFormat(), (COLUMNS, ("file",)), report)
        if table is not None:
            formats, problems = read_formats(table.rows, known)
            report.problems += problems
    for file in sorted(set(files) - {SETTINGS}):
        kind = BY_FILE.get(file)
        if kind is None:
            _unknown_file(file, known, report)
            continue
        columns = tuple(column.name for column in kind.columns)
        required = tuple(column.name for column in kind.columns if column.required)
        table = _table(file, files[file], formats.of(file), (columns, required), report)
        if table is not None:
            by_file[file] = table
    if not by_file and not report.problems:
        report.unreadable = True
        report.notes.append(_("No file of a known name is there. Known: %(known)s.") % {"known": ", ".join(known)})
    return Tables(by_file, formats)


def _unknown_file(file: str, known: list[str], report: Report) -> None:
    if not file.endswith(".csv"):
        report.notes.append(_("%(file)s is no CSV file and was left out.") % {"file": file})
        return
    near = get_close_matches(file, known, n=1, cutoff=0.6)
    advice = (
        _("Rename it to %(near)s, or take it away.") % {"near": near[0]} if near else _("Rename it, or take it away.")
    )
    report.problems.append(Problem(file, 1, "", file, _("no file of this name is known"), ", ".join(known), advice))


def _table(
    file: str, content: bytes, stated: FileFormat, columns: tuple[Sequence[str], Sequence[str]], report: Report
) -> Table | None:
    try:
        header, *rows = rows_of(decode(content, stated.encoding))
    except CsvError as error:
        report.unreadable = True
        report.problems.append(_cannot_be_read(file, error, stated))
        return None
    names = [cell.lower().replace(" ", "_") for cell in header.cells]
    problems = _header_problems(file, header.line, names, columns)
    report.problems += problems
    if problems:
        report.count(file).refused += len(rows)
        return None
    taken = []
    for row in rows:
        if len(row.cells) != len(names):
            report.problems.append(_wrong_length(file, row.line, len(row.cells), len(names)))
            report.count(file).refused += 1
            continue
        taken.append((row.line, dict(zip(names, row.cells, strict=True))))
    return Table(file, taken)


def _header_problems(
    file: str, line: int, names: list[str], columns: tuple[Sequence[str], Sequence[str]]
) -> list[Problem]:
    known, required = columns
    allowed = ", ".join(known)
    problems = []
    for place, name in enumerate(names):
        if name in names[:place]:
            advice = _("Keep one of both.")
            problems.append(Problem(file, line, name, name, _("this column is there twice"), "", advice))
        elif name not in known:
            near = get_close_matches(name, known, n=1, cutoff=0.6)
            advice = (
                _("Is it %(near)s? Rename it or take it away.") % {"near": near[0]}
                if near
                else _("Rename it or take it away.")
            )
            problems.append(Problem(file, line, name, name, _("no column of this name is known here"), allowed, advice))
    for name in required:
        if name not in names:
            advice = _("Add the column and fill it in each line.")
            problems.append(Problem(file, line, name, "", _("this column is missing"), allowed, advice))
    return problems


def _wrong_length(file: str, line: int, found: int, wanted: int) -> Problem:
    what = _("the line has %(found)s and the header %(wanted)s") % {
        "found": counted(found, "cell", "cells"),
        "wanted": wanted,
    }
    advice = _("Is the delimiter inside a text? Put that text into double quotes.")
    return Problem(file, line, "", "", what, "", advice)


def _cannot_be_read(file: str, error: CsvError, stated: FileFormat) -> Problem:
    texts = {
        Trouble.ENCODING: (
            _("the file is not written in %(encoding)s") % {"encoding": stated.encoding},
            _("Save it as CSV UTF-8, or state its encoding in files.csv: windows-1252 or iso-8859-1."),
        ),
        Trouble.EMPTY: (_("the file is empty"), _("Write the line of columns, or take the file away.")),
        Trouble.QUOTES: (
            _("a double quote is not closed, or stands inside a cell"),
            _("Put the whole cell into double quotes, and write a quote inside it twice."),
        ),
        Trouble.CONTROL: (
            _("the line holds a control character that no text has"), _("Take it out; is this really a text file?"),
        ),
    }  # fmt: skip
    what, advice = texts[error.trouble]
    return Problem(file, error.line, "", "", what, "", advice)
