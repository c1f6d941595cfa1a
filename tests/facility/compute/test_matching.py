"""Matching of people to places, against scipy's assignment solver."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from facility.compute.matching import match, short_places, size, spare_people

MASKS = st.lists(st.integers(0, 2**7 - 1), min_size=1, max_size=7)
PEOPLE = 7


def assigned(masks: list[int]) -> int:
    """Size of the largest matching according to scipy."""
    may = np.array([[mask >> person & 1 for person in range(PEOPLE + 1)] for mask in masks])
    rows, columns = linear_sum_assignment(may, maximize=True)
    return int(may[rows, columns].sum())


@given(MASKS)
def test_as_many_places_are_filled_as_scipy_fills(masks: list[int]) -> None:
    assert size(masks) == assigned(masks)


@given(MASKS)
def test_nobody_takes_two_places_or_one_that_they_may_not(masks: list[int]) -> None:
    holders = [(place, person) for place, person in enumerate(match(masks)) if person >= 0]
    assert all(masks[place] >> person & 1 for place, person in holders)
    assert len({person for _, person in holders}) == len(holders)


@given(MASKS)
def test_one_new_person_helps_exactly_in_the_short_places(masks: list[int]) -> None:
    short = short_places(masks, match(masks))
    newcomer = 1 << PEOPLE
    helps = {
        place
        for place in range(len(masks))
        if assigned([mask | newcomer if place == other else mask for other, mask in enumerate(masks)]) > assigned(masks)
    }
    assert short == helps


@given(MASKS)
def test_one_more_allowed_pair_helps_exactly_if_place_and_person_can_be_left_over(masks: list[int]) -> None:
    holders = match(masks)
    short, spare = short_places(masks, holders), spare_people(masks, holders, PEOPLE)
    for place, mask in enumerate(masks):
        for person in range(PEOPLE):
            more = [*masks[:place], mask | 1 << person, *masks[place + 1 :]]
            helps = assigned(more) > assigned(masks)
            assert helps == (place in short and person in spare and not mask >> person & 1)
