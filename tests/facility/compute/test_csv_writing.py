"""CSV that leaves: nothing in it acts when it is opened. Cells after OWASP ASVS 5.0, 1.2.10."""

from __future__ import annotations

import csv
import io

import pytest

from facility.compute.csv_writing import csv_text, safe_cell


@pytest.mark.parametrize("cell", ["=1+1", "+1+2", "-1+2", "@x", "\t=1", "\r=1", "\n=1", "\0=1", "\uff1d1", "\uff0b1"])
def test_a_cell_that_could_be_a_formula_gets_an_apostrophe(cell: str) -> None:
    assert safe_cell(cell) == "'" + cell


@pytest.mark.parametrize("cell", ["-1.5", "+4", "12", "27 Nov 2026", "O2"])
def test_a_plain_number_and_plain_words_stay(cell: str) -> None:
    assert safe_cell(cell) == cell


def test_a_table_reads_back_as_it_was() -> None:
    rows = [["a,b", 'say "so"'], ["two\nlines", "-2"]]
    read = list(csv.reader(io.StringIO(csv_text(["one", "two"], rows), newline="")))
    assert read == [["one", "two"], *rows]
