"""How a worksheet reads what is typed: dates, months, yes and no, limits in words."""

from __future__ import annotations

import pytest

from facility.compute.worksheet import InputError, PartDate
from facility.compute.worksheet_inputs import day, day_or_month, number, yes_no
from facility.compute.worksheet_reading import plain, read_one


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
