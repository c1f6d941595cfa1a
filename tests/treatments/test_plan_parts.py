"""The JSON of a plan: read into plain values, or refused by name, value and limit."""

from __future__ import annotations

import contextlib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from facility.compute.facts import Extension, GasDemand, Role
from treatments.compute.plans import (
    PlanError,
    as_json,
    check_key,
    parse_extensions,
    parse_gas,
    parse_plan,
    parse_roles,
    run_min,
)

KNOWN = ("panel-operator", "inside-tender")
TENDER = {
    "role": "inside tender",
    "count": 1,
    "qualifications": ["inside-tender"],
    "medical": True,
    "from": 0,
    "to": None,
}


def roles(*rows: Any) -> tuple[Role, ...]:
    return parse_roles(list(rows), qualifications=KNOWN)


def test_a_role_becomes_what_readiness_is_computed_from() -> None:
    assert roles(TENDER) == (Role("inside tender", ("inside-tender",), medical=True, count=1, from_=0, to=None),)
    assert roles({"role": "log keeper"}) == (Role("log keeper", (), medical=False),)


@pytest.mark.parametrize(
    ("row", "what"),
    [
        ({"role": "", "count": 1, "qualifications": ["inside-tender"]}, "role 1, name"),
        ({"count": 2}, "role 1, name"),
        ({"role": "x", "qualifications": ["deep-diver"]}, "role 'x', qualification"),
        ({"role": "x", "qualifications": "inside-tender"}, "role 'x', qualifications"),
        ({"role": "x", "count": 0}, "role 'x', count"),
        ({"role": "x", "count": True}, "role 'x', count"),
        ({"role": "x", "count": 1.5}, "role 'x', count"),
        ({"role": "x", "medical": "yes"}, "role 'x', medical"),
        ({"role": "x", "from": 10, "to": 5}, "role 'x', to minute"),
        ({"role": "x", "from": -1}, "role 'x', from minute"),
        ({"role": "x", "pay": 1}, "role 1"),
        ("supervisor", "role 1"),
    ],
)
def test_a_bad_role_is_refused_by_name(row: Any, what: str) -> None:
    with pytest.raises(PlanError) as caught:
        roles(row)
    assert caught.value.what == what
    assert caught.value.limit


def test_an_unknown_qualification_is_answered_with_those_that_exist() -> None:
    with pytest.raises(PlanError, match="Known: inside-tender, panel-operator"):
        roles({"role": "x", "qualifications": ["deep-diver"]})


def test_a_plan_without_a_crew_and_a_role_named_twice_are_refused() -> None:
    with pytest.raises(PlanError, match="at least one role"):
        roles()
    with pytest.raises(PlanError, match="given twice"):
        roles(TENDER, TENDER)
    with pytest.raises(PlanError, match="must be a list"):
        parse_roles({"role": "x"}, qualifications=KNOWN)
    with pytest.raises(PlanError, match="At most 12"):
        roles(*({"role": f"r{number}"} for number in range(13)))


@pytest.mark.parametrize(
    "row", [{"minutes": 0, "allowed": 1}, {"minutes": 25}, {"allowed": 1}, {"minutes": 25, "allowed": 21}, 25]
)
def test_a_bad_extension_is_refused(row: Any) -> None:
    with pytest.raises(PlanError, match="extension 1"):
        parse_extensions([row])


@pytest.mark.parametrize(
    "gas", [{"HE": {"demand": 1}}, {"O2": {}}, {"O2": {"demand": -1}}, {"O2": {"demand": 1.5}}, {"O2": {"demand": "many"}},
            {"O2": {"demand": "1.5"}}, {"O2": 6000}, {"O2": {"demand": 1, "rest": 1}}, {"O2": {"demand": 10_000_001}}, ["O2"]]
)  # fmt: skip
def test_a_bad_gas_is_refused(gas: Any) -> None:
    with pytest.raises(PlanError, match="gas"):
        parse_gas(gas, gases=("O2", "AIR"))


def test_gas_is_whole_litres() -> None:
    assert parse_gas({"O2": {"demand": 6000, "reserve": "1000"}}, gases=("O2",)) == {"O2": GasDemand(6000, 1000)}


def test_a_table_6_with_all_its_extensions_lasts_488_minutes() -> None:
    # hand sum: 288 + 2 x 25 + 2 x 75 = 488; the numbers of the table are from memory, unconfirmed
    assert run_min(288, (Extension(25, 2), Extension(75, 2))) == 488


@pytest.mark.parametrize("key", ["crew", "chamber", "Two Words", "", "x" * 61, "é"])
def test_a_key_that_readiness_keeps_or_cannot_hold_is_refused(key: str) -> None:
    with pytest.raises(PlanError, match="key"):
        check_key("key", key)


ROWS = st.lists(
    st.fixed_dictionaries({
        "role": st.text("abc", min_size=1, max_size=4), "count": st.integers(1, 12), "medical": st.booleans(),
        "qualifications": st.lists(st.sampled_from(KNOWN), unique=True), "from": st.integers(0, 100), "to": st.none() | st.integers(100, 900),
    }), min_size=1, max_size=12, unique_by=lambda row: row["role"],
)  # fmt: skip


@given(
    ROWS, st.lists(st.fixed_dictionaries({"minutes": st.integers(1, 500), "allowed": st.integers(0, 20)}), max_size=5)
)
def test_what_is_read_and_written_back_is_read_the_same(rows: list[Any], extensions: list[Any]) -> None:
    parts = parse_plan(extensions, rows, {"O2": {"demand": 1, "reserve": 2}}, qualifications=KNOWN, gases=("O2",))
    again = as_json(parts)
    assert (again["extensions"], again["roles"]) == (extensions, rows)
    assert parse_plan(**again, qualifications=KNOWN, gases=("O2",)) == parts


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    )
)
def test_any_json_at_all_is_read_or_refused_by_name(value: Any) -> None:
    for read in (parse_extensions, roles, lambda gas: parse_gas(gas, gases=("O2",))):
        with contextlib.suppress(PlanError):
            read(value)
