"""Rows as CSV text that a spreadsheet shows as it stands: no cell is taken for a formula."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

PLAIN_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
#: what makes a spreadsheet take a cell for a formula (OWASP ASVS 5.0, 1.2.10), with the full-width forms
STARTS = frozenset("=+-@\t\r\n\0\uff1d\uff0b\uff0d\uff20")


def safe_cell(value: object) -> str:
    """Return a value as the text of a cell: with an apostrophe before it where it could be a formula.

    >>> safe_cell("=1+1"), safe_cell("-1.5"), safe_cell(None)
    ("'=1+1", '-1.5', '')
    """
    text = "" if value is None else str(value)
    if text and text[0] in STARTS and not PLAIN_NUMBER.fullmatch(text):
        return "'" + text
    return text


def csv_text(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a table as CSV (RFC 4180): a head line, comma, double quotes, CRLF."""
    target = io.StringIO()
    writer = csv.writer(target, lineterminator="\r\n")
    writer.writerow([safe_cell(name) for name in head])
    for row in rows:
        writer.writerow([safe_cell(value) for value in row])
    return target.getvalue()
