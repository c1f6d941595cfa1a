"""The text that an instrument wrote: how its columns, its times and its pressures are meant, and a guess at it.

Nothing is decided in silence: the guess is shown with the first rows, and a person says whether it is right.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass
from enum import StrEnum
from itertools import islice
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

#: common practice, no source: two days at one sample a second, and what such a file weighs
MOST_ROWS = 200_000
MOST_BYTES = 16 * 1024 * 1024
MOST_CELLS = 60
LOOKED_AT = 60
DELIMITERS = (";", "\t", ",", "|")
LEAST_NUMBERS = 2  # cells that make a row one of the record: a time and a depth


class InstrumentError(ValueError):
    """A file that cannot be taken as it is: what, which value, what is allowed, what to do.

    ``sentence`` has places for ``values``, so that it can be said in another language.
    """

    def __init__(self, sentence: str, **values: Any) -> None:
        super().__init__(sentence % values)
        self.sentence, self.values = sentence, values


class TimeForm(StrEnum):
    """How a row says its time."""

    SECONDS = "seconds"
    MINUTES = "minutes"
    HMS = "h:mm:ss"
    CLOCK = "clock"
    INSTANT = "instant"


class DepthUnit(StrEnum):
    """How a row says its pressure; what counts the air above needs the pressure at the surface."""

    FSW = "fsw"
    MSW = "msw"
    KPA = "kPa"
    BAR = "bar"
    PSI = "psi"
    KPA_ABSOLUTE = "kPa abs"
    BAR_ABSOLUTE = "bar abs"
    PSI_ABSOLUTE = "psi abs"

    @property
    def absolute(self) -> bool:
        """Whether the air above counts."""
        return self.value.endswith(" abs")


@dataclass(frozen=True, slots=True)
class Layout:
    """How a file is meant. Columns count from 0, rows from 1; ``head_row`` 0: it has none.

    ``surface_kpa``: kPa absolute at the surface, of absolute units. ``day``: of the first row, of clock times.
    ``first_row``, ``last_row``: the part of the file that is taken; None: all of it.
    """

    delimiter: str
    decimal: str
    head_row: int
    time: int
    depth: int
    time_form: TimeForm
    unit: DepthUnit | None
    gas: int | None = None
    oxygen: int | None = None
    surface_kpa: float | None = None
    day: date | None = None
    first_row: int | None = None
    last_row: int | None = None


def taken_in(chunks: Iterable[bytes]) -> bytes:
    """Return a whole file from its pieces, and stop reading as soon as it is too large.

    Errors: InstrumentError for no bytes, too many bytes or rows, or bytes that are no text.
    """
    found: list[bytes] = []
    size = rows = 0
    for chunk in chunks:
        size += len(chunk)
        rows += chunk.count(b"\n")
        if rows > MOST_ROWS:
            raise InstrumentError(
                "The file has more than %(most)s rows. Taken are at most %(most)s, two days at one sample a second:"
                " send the part that shows the run, or fewer samples a minute.",
                most=MOST_ROWS,
            )
        if size > MOST_BYTES:
            raise InstrumentError(
                "The file is larger than %(most)s MB. Send the part that shows the run, or only the columns of time"
                " and depth.",
                most=MOST_BYTES // 1024 // 1024,
            )
        found.append(chunk)
    if not size:
        raise InstrumentError("The file is empty (0 bytes). Export it again.")
    return b"".join(found)


def decoded(raw: bytes) -> tuple[str, str]:
    """Return the text and the name of its encoding. Errors: InstrumentError for what is no text."""
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        name = "utf-16"
    else:
        name = "utf-8-sig" if raw.startswith(b"\xef\xbb\xbf") else "utf-8"
    try:
        text = raw.decode(name)
    except UnicodeDecodeError:
        name = "cp1252"
        text = raw.decode(name, errors="replace")
    if "\0" in text or text.startswith("%PDF"):
        raise InstrumentError(
            "The file is no text. Export the record as CSV: one row a sample, columns apart by a mark."
        )
    return text.replace("\r\n", "\n").replace("\r", "\n"), name


def rows_of(text: str, delimiter: str, most: int | None = None) -> list[list[str]]:
    """Return the cells of each row. Errors: InstrumentError for a row that cannot be cut into cells."""
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=False)
        found = list(islice(reader, most))
    except csv.Error:
        raise InstrumentError(
            "A row cannot be cut into cells: a quotation mark is opened and not closed. Export the file again."
        ) from None
    widest = max(map(len, found), default=0)
    if widest > MOST_CELLS:
        raise InstrumentError(
            "A row has %(cells)s cells; taken are at most %(most)s. Send fewer columns.", cells=widest, most=MOST_CELLS
        )
    return found


_NUMBER = re.compile(r"\s*[+-]?\d+(?:[.,]\d+)?\s*")
_TIME = re.compile(r"\s*(?:\d{4}-\d\d-\d\d[T ])?\d{1,3}:\d\d(?::\d\d(?:[.,]\d+)?)?(?:Z|[+-]\d\d:?\d\d)?\s*")
_COMMA = re.compile(r"\s*[+-]?\d+,\d+\s*")
_NAMES = {
    "time": ("time", "zeit", "tid", "temps", "tiempo", "hora", "heure", "elapsed", "clock", "sec", "min"),
    "depth": ("depth", "tiefe", "dybde", "profond", "profund", "press", "druck", "trykk", "presi", "fsw", "msw"),
    "gas": ("gas",),
    "oxygen": ("o2", "oxygen", "sauerstoff", "oxyg", "oksygen"),
}


def guess(text: str) -> Layout:
    """Return how the first rows of a file look as if they were meant.

    Errors: InstrumentError if no mark parts them into at least two columns.
    """
    delimiter = _delimiter(text)
    rows = rows_of(text, delimiter, LOOKED_AT)
    head = _head_row(rows)
    body = [row for row in rows[head:] if any(cell.strip() for cell in row)]
    names = [name.strip().lower() for name in rows[head - 1]] if head else []
    time = _named(names, "time", 0)
    depth = _named(names, "depth", 1 if time == 0 else 0)
    gas, oxygen = _named(names, "gas", None), _named(names, "oxygen", None)
    numbers = [cell for row in body for cell in row if _NUMBER.fullmatch(cell)]
    comma = any(map(_COMMA.fullmatch, numbers)) and not any("." in cell for cell in numbers)
    return Layout(
        delimiter, "," if comma else ".", head, time or 0, depth or 0,
        _time_form(body, time or 0, names), _unit(names, depth or 0),
        gas if gas not in {time, depth} else None, oxygen if oxygen not in {time, depth, gas} else None,
    )  # fmt: skip


def _delimiter(text: str) -> str:
    lines = [line for line in islice(io.StringIO(text), LOOKED_AT) if line.strip()]
    best, most = "", 0
    for mark in DELIMITERS:
        counts = Counter(line.count(mark) for line in lines)
        counts.pop(0, None)
        alike = max(counts.values(), default=0)
        if alike > most:
            best, most = mark, alike
    if not best:
        raise InstrumentError(
            "No mark parts the rows into columns. Export the record with a semicolon, a tabulator or a comma between"
            " time and depth."
        )
    return best


def _head_row(rows: Sequence[Sequence[str]]) -> int:
    """Return the number of the row before the first one that holds figures, 0 if that is the first."""
    for place, row in enumerate(rows):
        if sum(1 for cell in row if _NUMBER.fullmatch(cell) or _TIME.fullmatch(cell)) >= min(LEAST_NUMBERS, len(row)):
            return place
    return 0


def _named(names: Sequence[str], what: str, otherwise: int | None) -> int | None:
    for word in _NAMES[what]:
        for place, name in enumerate(names):
            if word in name:
                return place
    return otherwise


def _time_form(body: Sequence[Sequence[str]], column: int, names: Sequence[str]) -> TimeForm:
    first = next((row[column].strip() for row in body if len(row) > column and row[column].strip()), "")
    if re.match(r"\d{4}-\d\d-\d\d", first):
        return TimeForm.INSTANT
    if ":" in first:
        return TimeForm.HMS if re.match(r"0{1,3}:", first) else TimeForm.CLOCK
    name = names[column] if column < len(names) else ""
    return TimeForm.MINUTES if "min" in name else TimeForm.SECONDS


def _unit(names: Sequence[str], column: int) -> DepthUnit | None:
    name = names[column] if column < len(names) else ""
    absolute = "abs" in name
    for unit in DepthUnit:
        if unit.absolute == absolute and unit.value.removesuffix(" abs").lower() in name:
            return unit
    return None
