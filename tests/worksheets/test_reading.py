"""How a worksheet reads what is typed: dates, months, yes and no, limits in words."""

from __future__ import annotations

from decimal import Decimal

import pytest

from facility.compute.worksheet import Given, InputError, Output, PartDate, Worksheet
from facility.compute.worksheet_inputs import day, day_or_month, number, yes_no
from facility.compute.worksheet_reading import plain, read_one, run


@pytest.mark.parametrize("typed", ["2026-02-30", "2026-13", "0000-01", "26-1-1", "2026-01", 5])
def test_a_date_that_is_none_is_refused(typed: object) -> None:
    with pytest.raises(InputError, match="a date, YYYY-MM-DD"):
        read_one(day("on", "2026-01-01", ""), typed)


def test_a_month_is_known_as_one() -> None:
    found = read_one(day_or_month("on", "2026-01", ""), "2024-02")
    assert isinstance(found, PartDate)
    assert (found.on.isoformat(), found.month_only) == ("2024-02-29", True)


@pytest.mark.parametrize("typed", ["yes", 1, 0])
def test_yes_and_no_are_true_and_false_only(typed: object) -> None:
    with pytest.raises(InputError, match="true or false"):
        read_one(yes_no("sure", True, ""), typed)


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (("0", "5"), "0 to 5 m"),
        ((">0", "5"), "more than 0, up to 5 m"),
        ((">0", ""), "more than 0 m"),
        (("0", ""), "0 or more m"),
        (("", "5"), "5 or less m"),
        (("", ""), "of any size m"),
    ],
)
def test_what_a_number_may_be_is_said_in_words(limits: tuple[str, str], words: str) -> None:
    assert number("height", "m", 1, limits, "").allowed == f"a number, {words}"


def test_what_json_cannot_hold_is_left_out() -> None:
    assert plain(float("inf")) is None
    assert plain(0.1 + 0.2) == 0.3


def test_values_that_nobody_can_compute_with_are_refused_together() -> None:
    def divide(given: Given) -> dict[str, object]:
        return {"part": given.number("whole") / 0}

    sheet = Worksheet(
        name="part",
        title="Part",
        inputs=(number("whole", "1", 1, ("0", "5"), ""),),
        outputs=(Output("part", "1"),),
        source="",
        formula="",
        caution="",
        compute=divide,
    )
    with pytest.raises(InputError, match="nearer to the example"):
        run(sheet, sheet.examples)
    with pytest.raises(InputError, match="1E-31 is not taken"):
        run(sheet, {"whole": Decimal("1e-31")})
