"""CSV files as a spreadsheet writes them: decoding, the delimiter, and rows with their line numbers.

RFC 4180 quoting; comma or semicolon, told from the header line; UTF-8 with or without a byte
order mark unless another encoding is stated. What a cell means is not decided here.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

#: how a file may write a day, and where year, month and day stand in it
DAY_ORDERS = {
    "YYYY-MM-DD": ("-", (0, 1, 2)),
    "YYYY/MM/DD": ("/", (0, 1, 2)),
    "DD.MM.YYYY": (".", (2, 1, 0)),
    "DD/MM/YYYY": ("/", (2, 1, 0)),
    "DD-MM-YYYY": ("-", (2, 1, 0)),
    "MM/DD/YYYY": ("/", (2, 0, 1)),
    "MM-DD-YYYY": ("-", (2, 0, 1)),
}
ISO = "YYYY-MM-DD"
ENCODINGS = {"utf-8": "utf-8-sig", "windows-1252": "cp1252", "iso-8859-1": "latin-1"}
DIGITS_OF_YEAR = 4
FIRST_YEAR, LAST_YEAR = 1900, 2199


class Trouble(StrEnum):
    """Why a whole file cannot be read."""

    ENCODING = "encoding"
    EMPTY = "empty"
    QUOTES = "quotes"
    CONTROL = "control"


class CsvError(ValueError):
    """A file that cannot be read, with the line where reading stopped."""

    def __init__(self, trouble: Trouble, line: int) -> None:
        super().__init__(f"{trouble}, line {line}")
        self.trouble = trouble
        self.line = line


@dataclass(frozen=True, slots=True)
class Row:
    """One record: the line it begins on, and its cells without outer blanks."""

    line: int
    cells: tuple[str, ...]


def decode(content: bytes, encoding: str) -> str:
    """Return the text of a file; ``encoding`` is one of ENCODINGS.

    Errors: CsvError naming the line of the first byte that does not fit, or of a control character.
    """
    try:
        text = content.decode(ENCODINGS[encoding])
    except UnicodeDecodeError as error:
        raise CsvError(Trouble.ENCODING, content[: error.start].count(b"\n") + 1) from None
    for number, line in enumerate(text.split("\n"), 1):
        if any(ord(letter) < ord(" ") and letter not in "\t\r" for letter in line):
            raise CsvError(Trouble.CONTROL, number)
    return text


def delimiter_of(text: str) -> str:
    """Return the delimiter of a file from its first line; quoted parts do not count.

    >>> delimiter_of("tag;name;'a,b'"), delimiter_of('tag,"a;b;c"')
    (';', ',')
    """
    first = text.lstrip("\r\n").split("\n", 1)[0]
    outside = "".join(part for number, part in enumerate(first.split('"')) if number % 2 == 0)
    return ";" if outside.count(";") > outside.count(",") else ","


def rows_of(text: str) -> list[Row]:
    """Return every record that holds something, header included.

    Errors: CsvError for a quote that is not closed or stands inside a cell, or an empty file.

    >>> rows_of('tag,name\\nA,"two\\nlines"\\nB,x')[2]
    Row(line=4, cells=('B', 'x'))
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter_of(text), strict=True)
    found: list[Row] = []
    begins = 1
    try:
        for cells in reader:
            trimmed = tuple(cell.strip() for cell in cells)
            if any(trimmed):
                found.append(Row(begins, trimmed))
            begins = reader.line_num + 1
    except csv.Error:
        raise CsvError(Trouble.QUOTES, begins) from None
    if not found:
        raise CsvError(Trouble.EMPTY, 1)
    return found


def parts_of_day(text: str, order: str) -> tuple[int, int, int] | None:
    """Return year, month and day of a text in ``order``, or None if it is not written so.

    >>> parts_of_day("3.4.2025", "DD.MM.YYYY"), parts_of_day("2025-04-03", "DD.MM.YYYY")
    ((2025, 4, 3), None)
    """
    mark, places = DAY_ORDERS[order]
    parts = text.split(mark)
    if len(parts) != len(places) or not all(part.isascii() and part.isdigit() for part in parts):
        return None
    year, month, day = (parts[place] for place in places)
    if len(year) != DIGITS_OF_YEAR or len(month) > 2 or len(day) > 2:  # noqa: PLR2004  # two digits
        return None
    return int(year), int(month), int(day)


def calendar_day(year: int, month: int, day: int) -> date | None:
    """Return the day, or None if the calendar has no such day between 1900 and 2199.

    >>> calendar_day(2025, 2, 30) is None, calendar_day(2024, 2, 29)
    (True, datetime.date(2024, 2, 29))
    """
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return None
    try:
        return date(year, month, day)
    except ValueError:
        return None
