"""The rows of an instrument's text that are taken, each with its number in the file, and their columns as numbers."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from math import isfinite
from typing import TYPE_CHECKING

from treatments.compute.instrument import InstrumentError, Layout, rows_of

if TYPE_CHECKING:
    from collections.abc import Sequence

_PLAIN = {".": re.compile(r"[+-]?\d+(?:\.\d*)?(?:[eE][+-]?\d+)?"), ",": re.compile(r"[+-]?\d+(?:,\d*)?")}
NOTHING = frozenset({"", "-", "--", "---", "n/a", "na", "nan", "null", "none"})
CELLS_OF_A_PAIR = 4  # a time and a depth, each torn apart at its decimal comma


@dataclass(frozen=True, slots=True)
class Rows:
    """The rows taken, each with its number in the file."""

    cells: list[list[str]]
    numbers: Sequence[int]
    layout: Layout

    def column(self, place: int) -> list[str]:
        """Return the cells of a column. Errors: InstrumentError naming the first row that is too short."""
        try:
            return [row[place] for row in self.cells]
        except IndexError:
            short = next(n for n, row in enumerate(self.cells) if len(row) <= place)
            raise InstrumentError(
                "Row %(row)s has %(cells)s cells, and column %(column)s is asked for. Choose another column or mark"
                " between columns, or leave the row out.",
                row=self.numbers[short], cells=len(self.cells[short]), column=place + 1,
            ) from None  # fmt: skip


def taken(text: str, layout: Layout) -> Rows:
    """Return the rows that a layout takes. Errors: InstrumentError for fewer than two, or torn cells."""
    cells = rows_of(text, layout.delimiter)
    first = max(layout.head_row + 1, layout.first_row or 1)
    last = min(layout.last_row or len(cells), len(cells))
    body = cells[first - 1 : last]
    _refuse_torn(cells, layout, body)
    numbers: Sequence[int] = range(first, last + 1)
    if not all(body):
        kept = [n for n, row in enumerate(body) if row]
        body, numbers = [body[n] for n in kept], [first + n for n in kept]
    if len(body) <= 1:
        raise InstrumentError(
            "From row %(first)s to row %(last)s there are %(rows)s samples; a record needs at least 2. Choose other"
            " rows or another row for the head.", first=first, last=last, rows=len(body),
        )  # fmt: skip
    return Rows(body, numbers, layout)


def _refuse_torn(cells: list[list[str]], layout: Layout, body: list[list[str]]) -> None:
    """Refuse a file whose commas part columns and stand in numbers: its cells cannot be told apart."""
    if layout.delimiter != "," or not layout.head_row or not body:
        return
    named = len(cells[layout.head_row - 1])
    found = len(body[0])
    if named < found and found >= CELLS_OF_A_PAIR:
        raise InstrumentError(
            "Row %(row)s has %(found)s cells under a head of %(named)s: commas part the columns and stand in the"
            " numbers too, so nobody can tell which is which. Export the file with semicolons or with decimal points.",
            row=layout.head_row + 1, found=found, named=named,
        )  # fmt: skip


def without(rows: Rows, values: list[float | None], gone: frozenset[int]) -> tuple[Rows, list[float | None]]:
    """Return the rows and values that are left."""
    kept = [n for n in range(len(rows.cells)) if n not in gone]
    cells, numbers = [rows.cells[n] for n in kept], [rows.numbers[n] for n in kept]
    return replace(rows, cells=cells, numbers=numbers), [values[n] for n in kept]


def numbers_of(rows: Rows, column: int, what: str, *, may_be_empty: bool = False) -> list[float | None]:
    """Return a column as numbers: all at once, or, where one is none, row by row to name it."""
    cells = rows.column(column)
    decimal = rows.layout.decimal
    together = "".join(cells)
    if "_" not in together and (decimal == "." or "." not in together):
        try:
            found = [float(one) for one in (cells if decimal == "." else [one.replace(",", ".") for one in cells])]
        except ValueError:
            found = []
        if found and all(map(isfinite, found)):
            return list(found)
    return [
        _number(one, number, what, decimal, may_be_empty=may_be_empty)
        for one, number in zip(cells, rows.numbers, strict=True)
    ]


def _number(cell: str, row: int, what: str, decimal: str, *, may_be_empty: bool) -> float | None:
    trimmed = cell.strip()
    if may_be_empty and trimmed.lower() in NOTHING:
        return None
    found = float(trimmed.replace(",", ".")) if _PLAIN[decimal].fullmatch(trimmed) else None
    if found is None or not isfinite(found):
        raise InstrumentError(
            "Row %(row)s, %(what)s: “%(cell)s” is not a number with a decimal %(mark)s and without marks for"
            " thousands. Choose the other decimal mark or another column, or put the row right.",
            row=row, what=what, cell=cell[:40], mark="point" if decimal == "." else "comma",
        )  # fmt: skip
    return found
