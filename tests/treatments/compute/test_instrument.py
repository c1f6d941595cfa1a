"""The text of an instrument: units, forms of time, bad files. Expected depths: handbook section 7 conversions, pint."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import repeat
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pint
import pytest
from hypothesis import event, given
from hypothesis import strategies as st

from treatments.compute.instrument import (
    MOST_ROWS,
    DepthUnit,
    InstrumentError,
    Layout,
    TimeForm,
    decoded,
    guess,
    taken_in,
)
from treatments.compute.samples import Samples, read
from treatments.reference.laws import scales

if TYPE_CHECKING:
    from collections.abc import Iterator

SCALE = scales()["1 msw = 3.2646 fsw"]
OSLO = ZoneInfo("Europe/Oslo")
UNITS: Any = pint.UnitRegistry()


def layout(**fields: object) -> Layout:
    """Return the layout of seconds and fsw with a point, in two columns apart by a semicolon, without a head."""
    plain: dict[str, object] = {
        "delimiter": ";", "decimal": ".", "head_row": 0, "time": 0, "depth": 1, "time_form": TimeForm.SECONDS,
        "unit": DepthUnit.FSW,
    }  # fmt: skip
    return Layout(**(plain | fields))  # type: ignore[arg-type]  # fields of the layout by name


def samples(text: str, **fields: object) -> Samples:
    return read(text, layout(**fields), SCALE, OSLO)


def refused(text: str, **fields: object) -> str:
    with pytest.raises(InstrumentError) as caught:
        samples(text, **fields)
    return str(caught.value)


@pytest.mark.parametrize(
    ("unit", "typed", "surface"),
    [
        (DepthUnit.FSW, 60.0, None),
        (DepthUnit.MSW, 18.38, None),  # handbook section 7: 60 fsw is 18.38 msw
        (DepthUnit.KPA, 183.8, None),  # and 183.8 kPa gauge
        (DepthUnit.BAR, 1.838, None),
        (DepthUnit.PSI, 26.66, None),  # 26.7 psig
        (DepthUnit.KPA_ABSOLUTE, 183.8 + 98.6, 98.6),
        (DepthUnit.BAR_ABSOLUTE, 1.838 + 0.986, 98.6),
        (DepthUnit.PSI_ABSOLUTE, 26.66 + 14.30, 98.6),
    ],
)
def test_sixty_feet_of_sea_water_is_itself_in_every_unit(unit: DepthUnit, typed: float, surface: float | None) -> None:
    found = samples(f"0;{typed}\n1;{typed}\n", unit=unit, surface_kpa=surface)
    assert found.depths_fsw == pytest.approx([60, 60], abs=0.03)


@given(st.floats(0, 500), st.floats(80, 105))
def test_absolute_pressure_less_the_surface_is_what_pint_says(kpa: float, surface: float) -> None:
    """pint's own units of pressure, apart from the project's factors; 1 fsw = 3.0630 kPa (handbook section 7)."""
    psi = UNITS.Quantity(kpa + surface, "kPa").to("psi").magnitude
    found = samples(f"0;{psi!r}\n1;{psi!r}\n", unit=DepthUnit.PSI_ABSOLUTE, surface_kpa=surface)
    assert found.depths_fsw[0] == pytest.approx(kpa / 3.0630, abs=0.01)


def test_the_forms_of_time_tell_the_same_seconds() -> None:
    expected = [0.0, 30.0, 3660.0]
    assert samples("5;0\n35;0\n3665;0\n").times_s == expected
    assert samples("0.5;0\n1.0;0\n61.5;0\n", time_form=TimeForm.MINUTES).times_s == expected
    assert samples("0:00:05;0\n0:00:35;0\n1:01:05;0\n", time_form=TimeForm.HMS).times_s == expected
    by_clock = samples("23:30:00;0\n23:30:30;0\n00:31:00;0\n", time_form=TimeForm.CLOCK, day=date(2026, 3, 12))
    assert by_clock.times_s == expected
    assert by_clock.begins_at == datetime(2026, 3, 12, 22, 30, tzinfo=UTC)  # Oslo is an hour ahead in winter
    instants = "2026-03-12T22:30:00Z;0\n2026-03-12T22:30:30Z;0\n2026-03-12T23:31:00Z;0\n"
    by_instant = samples(instants, time_form=TimeForm.INSTANT)
    assert (by_instant.times_s, by_instant.begins_at) == (expected, by_clock.begins_at)


def test_a_record_over_the_change_of_clocks_keeps_its_length() -> None:
    """Europe/Oslo goes from 01:59 +01:00 to 03:00 +02:00 on 29 March 2026 (IANA time zone database)."""
    text = "2026-03-29T01:59:00+01:00;0\n2026-03-29T03:00:00+02:00;10\n"
    assert samples(text, time_form=TimeForm.INSTANT).times_s == [0, 60]
    said = refused("01:59:00;0\n03:00:00;10\n", time_form=TimeForm.CLOCK, day=date(2026, 3, 29))
    assert "clocks change" in said


def test_three_time_zones_in_one_record_are_refused_with_the_rows() -> None:
    text = "2026-03-12T12:00:00+01:00;0\n2026-03-12T11:00:10Z;1\n2026-03-12T06:00:20-05:00;2\n"
    said = refused(text, time_form=TimeForm.INSTANT)
    assert "3 different offsets" in said
    assert "row 1 says +0100, row 2 says +0000" in said


def test_a_time_without_a_zone_is_refused() -> None:
    assert "Row 1, time: “2026-03-12T12:00:00”" in refused("2026-03-12T12:00:00;0\n2026-03-12T12:00:01;0\n", time_form=TimeForm.INSTANT)  # fmt: skip


def test_a_decimal_comma_is_read_where_it_is_said_and_refused_where_not() -> None:
    text = "0,5;12,5\n1,5;13,25\n"
    assert samples(text, decimal=",").depths_fsw == [12.5, 13.25]
    assert "Row 1, depth: “12,5” is not a number with a decimal point" in refused(text)
    assert "“1.250,5”" in refused("0;1.250,5\n1;0\n", decimal=",")
    assert "Row 2, depth: “13.25” is not a number with a decimal comma" in refused("0,5;12,5\n1,5;13.25\n", decimal=",")


def test_commas_between_columns_and_in_numbers_are_told_apart_by_nobody() -> None:
    said = refused("time,depth\n0,5,12,5\n1,5,13,25\n", delimiter=",", head_row=1)
    assert "commas part the columns and stand in the numbers too" in said
    quoted = samples('time,depth\n"0,5","12,5"\n"1,5","13,25"\n', delimiter=",", decimal=",", head_row=1)
    assert quoted.depths_fsw == [12.5, 13.25]


def test_rows_without_a_depth_are_left_out_and_named() -> None:
    found = samples("0;1\n1;\n2;---\n3;NaN\n4;5\n")
    assert (found.times_s, found.depths_fsw, found.without_depth) == ([0, 4], [1, 5], [2, 3, 4])


def test_a_clock_that_jumps_back_is_refused_with_both_rows_and_the_parts_can_be_taken() -> None:
    text = "10:00:00;0\n10:00:10;5\n09:55:00;6\n09:55:10;7\n"
    said = refused(text, time_form=TimeForm.CLOCK, day=date(2026, 3, 12))
    assert "Row 3, time: “09:55:00” is before “10:00:10”" in said
    assert "up to 2, or those from 3 on" in said
    after = samples(text, time_form=TimeForm.CLOCK, day=date(2026, 3, 12), first_row=3)
    assert (after.times_s, after.depths_fsw) == ([0, 10], [6, 7])


def test_rows_of_one_time_are_one_sample_and_named() -> None:
    """Three rows of one minute: their mean by hand is 20."""
    found = samples("0.0;0\n0.5;10\n0.5;20\n0.5;30\n1.0;30\n", time_form=TimeForm.MINUTES)
    assert (found.times_s, found.depths_fsw, found.repeated) == ([0, 30, 60], [0, 20, 30], [3, 4])


@pytest.mark.parametrize(
    ("text", "fields", "says"),
    [
        ("0;1\nx;2\n", {}, "Row 2, time: “x”"),
        ("0;1\n1;1_000\n", {}, "Row 2, depth: “1_000”"),
        ("0;1\n1;inf\n", {}, "Row 2, depth: “inf”"),
        ("0;1\n1\n", {}, "Row 2 has 1 cells, and column 2"),
        ("0;1\n", {}, "a record needs at least 2"),
        ("0;-\n1;-\n", {}, "No row has a depth"),
        ("0;1\n1;2\n", {"unit": None}, "unit of the depth is not known"),
        ("0;201\n1;202\n", {"unit": DepthUnit.KPA_ABSOLUTE}, "Give the pressure at the surface"),
        ("0;101.3\n1;284\n", {"unit": DepthUnit.BAR}, "Row 2: 284 bar is 9271"),
        ("0;0\n1;1.2\n", {"unit": DepthUnit.BAR_ABSOLUTE, "surface_kpa": 100.0}, "Row 1: 0 bar abs is -32.6 fsw"),
        ("12:30;0\n12:31;1\n", {"time_form": TimeForm.HMS}, "“12:30” is not h:mm:ss"),
        ("10:00:00;0\n10:00:01;0\n", {"time_form": TimeForm.CLOCK}, "need the day"),
    ],
)
def test_what_cannot_be_read_is_refused_with_row_and_value(text: str, fields: dict[str, object], says: str) -> None:
    assert says in refused(text, **fields)


def test_ten_million_lines_are_refused_without_reading_them_all() -> None:
    """The pieces of the upload come one by one: reading stops at the limit, and little memory is held."""
    given_out = 0

    def pieces() -> Iterator[bytes]:
        nonlocal given_out
        for piece in repeat(b"1,2.0\n" * 10_000, 1000):
            given_out += 10_000
            yield piece

    tracemalloc.start()
    with pytest.raises(InstrumentError, match="more than 200000 rows"):
        taken_in(pieces())
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert given_out <= MOST_ROWS + 10_000
    assert most < 8 * 1024 * 1024


def test_a_file_that_is_large_empty_or_no_text_is_refused() -> None:
    with pytest.raises(InstrumentError, match="larger than 16 MB"):
        taken_in(repeat(b"x" * 1024 * 1024, 40))
    with pytest.raises(InstrumentError, match="0 bytes"):
        taken_in([])
    for raw in (b"\x00\x01\x02;\x00\n", b"%PDF-1.7\n"):
        with pytest.raises(InstrumentError, match="no text"):
            decoded(raw)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_text_is_read_in_the_encodings_that_instruments_write(encoding: str) -> None:
    assert decoded("Tid;Trykk °C\r\n0;1\r\n".encode(encoding))[0] == "Tid;Trykk °C\n0;1\n"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("time_s,depth_fsw\n0,0.0\n1,0.3\n", (",", ".", 1, 0, 1, TimeForm.SECONDS, DepthUnit.FSW)),
        ("Tiefe (msw);Zeit (min)\n0,0;0,0\n0,3;0,1\n", (";", ",", 1, 1, 0, TimeForm.MINUTES, DepthUnit.MSW)),
        ("0\t0\n1\t2\n", ("\t", ".", 0, 0, 1, TimeForm.SECONDS, None)),
        ("Logger 7\nClock;Pressure bar abs\n09:59:00;1.01\n", (";", ".", 2, 0, 1, TimeForm.CLOCK, DepthUnit.BAR_ABSOLUTE)),
        ("t;kPa\n2026-03-12T10:00:00Z;0\n", (";", ".", 1, 0, 1, TimeForm.INSTANT, DepthUnit.KPA)),
    ],
)  # fmt: skip
def test_a_guess_is_made_from_the_first_rows(text: str, expected: tuple[object, ...]) -> None:
    found = guess(text)
    assert (
        found.delimiter,
        found.decimal,
        found.head_row,
        found.time,
        found.depth,
        found.time_form,
        found.unit,
    ) == expected


def test_a_text_of_one_column_cannot_be_guessed() -> None:
    with pytest.raises(InstrumentError, match="No mark parts the rows"):
        guess("12\n13\n14\n")


@given(st.text(max_size=300))
def test_any_text_is_read_or_refused_and_never_crashes(text: str) -> None:
    said = ""
    try:
        found = guess(text)
        read(text, replace(found, unit=DepthUnit.FSW), SCALE, OSLO)
    except InstrumentError as error:
        said = str(error)
        event(said[:12])
    assert "%(" not in said
