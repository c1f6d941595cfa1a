"""Reading CSV text. Sources: RFC 4180, section 2; the calendar of Python's standard library for days."""

from __future__ import annotations

import calendar
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from facility.compute.csv_reading import (
    DAY_ORDERS,
    CsvError,
    Row,
    Trouble,
    calendar_day,
    decode,
    delimiter_of,
    parts_of_day,
    rows_of,
)

#: how strftime writes the same orders, the oracle for reading them
STRFTIME = {
    "YYYY-MM-DD": "%Y-%m-%d", "YYYY/MM/DD": "%Y/%m/%d", "DD.MM.YYYY": "%d.%m.%Y", "DD/MM/YYYY": "%d/%m/%Y",
    "DD-MM-YYYY": "%d-%m-%Y", "MM/DD/YYYY": "%m/%d/%Y", "MM-DD-YYYY": "%m-%d-%Y",
}  # fmt: skip


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("aaa,bbb\r\nccc,ddd\r\n", [("aaa", "bbb"), ("ccc", "ddd")]),  # RFC 4180, 2.1
        ("aaa,bbb\r\nccc,ddd", [("aaa", "bbb"), ("ccc", "ddd")]),  # 2.2, no line break at the end
        ('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', [("aaa", "b\r\nbb", "ccc"), ("zzz", "yyy", "xxx")]),  # 2.6
        ('"aaa","b""bb","ccc"', [("aaa", 'b"bb', "ccc")]),  # 2.7
        ('a;"b;c"\nd;e', [("a", "b;c"), ("d", "e")]),
    ],
)
def test_records_of_the_standard_are_read(text: str, rows: list[tuple[str, ...]]) -> None:
    assert [row.cells for row in rows_of(text)] == rows


def test_line_numbers_count_breaks_inside_quotes_and_blank_lines() -> None:
    text = 'tag,note\nA,"two\nlines"\n\n,\nB,x\n'
    assert rows_of(text) == [Row(1, ("tag", "note")), Row(2, ("A", "two\nlines")), Row(6, ("B", "x"))]


@pytest.mark.parametrize("broken", ['a,b\nc,"d', 'a,b\nc,"d"e'])
def test_a_quote_that_does_not_close_is_refused_with_its_line(broken: str) -> None:
    with pytest.raises(CsvError) as caught:
        rows_of(broken)
    assert (caught.value.trouble, caught.value.line) == (Trouble.QUOTES, 2)


def test_an_empty_file_is_refused() -> None:
    with pytest.raises(CsvError, match="empty"):
        rows_of("\n,,\n")


def test_a_byte_order_mark_is_taken_off_and_wrong_bytes_are_refused_with_their_line() -> None:
    assert decode(b"\xef\xbb\xbftag", "utf-8") == "tag"
    assert decode("Tøn".encode("cp1252"), "windows-1252") == "Tøn"
    with pytest.raises(CsvError) as caught:
        decode(b"tag\nT\xf8n\n", "utf-8")
    assert (caught.value.trouble, caught.value.line) == (Trouble.ENCODING, 2)


def test_a_control_character_is_refused() -> None:
    with pytest.raises(CsvError) as caught:
        decode(b"tag\nA\x00B\n", "utf-8")
    assert (caught.value.trouble, caught.value.line) == (Trouble.CONTROL, 2)


def test_the_delimiter_is_told_from_the_header_outside_quotes() -> None:
    assert delimiter_of('"a;b;c",d\n1;2;3') == ","
    assert delimiter_of("tag;name\na,b;c,d,e") == ";"


@given(st.dates(date(1900, 1, 1), date(2199, 12, 31)), st.sampled_from(sorted(DAY_ORDERS)))
def test_each_order_reads_back_what_strftime_wrote(day: date, order: str) -> None:
    parts = parts_of_day(day.strftime(STRFTIME[order]), order)
    assert parts is not None
    assert calendar_day(*parts) == day


@given(st.integers(1900, 2199), st.integers(1, 12))
def test_the_day_after_the_last_of_a_month_is_no_day(year: int, month: int) -> None:
    last = calendar.monthrange(year, month)[1]
    assert calendar_day(year, month, last) == date(year, month, 1) + timedelta(days=last - 1)
    assert calendar_day(year, month, last + 1) is None


@pytest.mark.parametrize("text", ["12/11/25", "2025-1", "11/12/2025x", "٣/11/2025", "", "//"])
def test_what_is_not_written_in_an_order_is_no_day(text: str) -> None:
    assert parts_of_day(text, "DD/MM/YYYY") is None
