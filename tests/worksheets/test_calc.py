"""``manage.py calc``: the list, the examples, and refusals that name input, value and limit."""

from __future__ import annotations

import io
import json
from contextlib import suppress
from typing import TYPE_CHECKING, Any

import pytest
from django.core.management import CommandError, call_command
from django.forms import Form
from hypothesis import given, settings
from hypothesis import strategies as st

from facility.compute.worksheet import InputError, Kind
from facility.compute.worksheet_reading import load_inputs, run
from facility.worksheets.catalogue import CATALOGUE, worksheets

if TYPE_CHECKING:
    from pathlib import Path

ALL = list(worksheets().values())
JUNK = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=6,
)


def calc(*words: str) -> str:
    out = io.StringIO()
    call_command("calc", *words, stdout=out, stderr=io.StringIO())
    return out.getvalue()


def calc_file(folder: Path, name: str, given_inputs: Any) -> Any:
    path = folder / "inputs.json"
    path.write_text(given_inputs if isinstance(given_inputs, str) else json.dumps(given_inputs), encoding="utf-8")
    return json.loads(calc(name, str(path)))


def test_the_list_names_inputs_with_example_and_outputs_with_unit() -> None:
    listed = json.loads(calc("--list", "--json"))
    asked = {"gauge_calibration", "interval_due", "gas_content", "hold_test"}
    assert asked <= {one["name"] for one in listed}
    for one in listed:
        assert {"name", "unit", "example"} <= set(one["inputs"][0])
        assert {"name", "unit"} <= set(one["outputs"][0])
        assert one["source"]
        assert one["caution"]


def test_no_two_worksheets_share_a_name() -> None:
    assert len(worksheets()) == sum(len(part) for part in CATALOGUE)


@pytest.mark.parametrize("worksheet", ALL, ids=lambda one: one.name)
def test_no_input_hides_a_part_of_its_form(worksheet: Any) -> None:
    """A template looks for a field before a property: a field named errors would look like a refusal."""
    assert not [one.name for one in worksheet.inputs if hasattr(Form(), one.name)]


@pytest.mark.parametrize("name", list(worksheets()))
def test_each_worksheet_takes_its_own_examples_as_listed(name: str, tmp_path: Path) -> None:
    listed = next(one for one in json.loads(calc("--list", "--json")) if one["name"] == name)
    found = calc_file(tmp_path, name, {one["name"]: one["example"] for one in listed["inputs"]})
    assert list(found) == [one["name"] for one in listed["outputs"]]


def test_inputs_come_from_standard_input_too(monkeypatch: pytest.MonkeyPatch) -> None:
    text = calc("gas_content", "--example").encode()
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(text)))
    assert json.loads(calc("gas_content"))["mass"] > 0


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"temperature": 99}, ["temperature", "99", "-5 to 55 degC"]),
        ({"temperature": "warm"}, ["temperature", "'warm'", "-5 to 55 degC"]),
        ({"temperature": None}, ["temperature", "missing", "-5 to 55 degC"]),
        ({"cylinders": 1.5}, ["cylinders", "1.5", "whole number"]),
        ({"gas": "helium"}, ["gas", "'helium'", "O2, AIR"]),
        ({"pressure": 5000, "pressure_unit": "psi", "minimum_pressure": 0}, ["pressure", "5000 psi", "311 bar"]),
        ({"pressure": True}, ["pressure", "True", "0 to 35000"]),
        ({"depth": 3}, ["depth", "3", "no such input"]),
    ],
)
def test_a_refusal_names_input_value_and_what_is_allowed(
    changed: dict[str, Any], words: list[str], tmp_path: Path
) -> None:
    with pytest.raises(CommandError) as refused:
        calc_file(tmp_path, "gas_content", worksheets()["gas_content"].examples | changed)
    assert refused.value.returncode == 2
    assert all(word in str(refused.value) for word in words)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "one JSON object"),
        ("[1]", "one JSON object"),
        ('{"gas": "O2", "gas": "AIR"}', "named twice"),
        ('{"pressure": NaN}', "finite numbers"),
        ("[" * 100_000, "one JSON object"),
        ('{"gas": "O2", "water_capacity": 1e999999}', "water_capacity: 1E"),
    ],
)
def test_text_that_is_no_object_of_inputs_is_refused(text: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match=words) as refused:
        calc_file(tmp_path, "gas_content", text)
    assert refused.value.returncode == 2


def test_bytes_that_are_no_text_and_a_file_that_is_not_there_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "bytes"
    path.write_bytes(b"\xff\xfe\x00")
    for name in (str(path), str(tmp_path / "none")):
        with pytest.raises(CommandError, match="file") as refused:
            calc("gas_content", name)
        assert refused.value.returncode == 2


def test_an_unknown_worksheet_is_refused_with_the_known_names() -> None:
    with pytest.raises(CommandError, match="gas_content") as refused:
        calc("dose")
    assert refused.value.returncode == 2


def test_a_number_is_read_as_typed() -> None:
    """0.16 in JSON is the decimal 0.16, not the nearest binary number."""
    assert str(load_inputs('{"a": 0.16}')["a"]) == "0.16"


@pytest.mark.parametrize("worksheet", ALL, ids=lambda one: one.name)
@settings(max_examples=20)
@given(data=st.data())
def test_any_junk_is_taken_or_refused_by_name(worksheet: Any, data: st.DataObject) -> None:
    """No input whatever ends in anything but a result or a refusal that says something."""
    changed = data.draw(st.dictionaries(st.sampled_from([one.name for one in worksheet.inputs]), JUNK, max_size=3))
    with suppress(ValueError):
        found = run(worksheet, worksheet.examples | changed)
        assert set(found) == {one.name for one in worksheet.outputs}


@pytest.mark.parametrize("worksheet", ALL, ids=lambda one: one.name)
def test_each_needed_input_left_out_is_refused_by_its_name(worksheet: Any) -> None:
    for one in worksheet.inputs:
        if not one.optional:
            with pytest.raises(InputError, match=f"^{one.name}: missing"):
                run(worksheet, worksheet.examples | {one.name: None})


@pytest.mark.parametrize("worksheet", ALL, ids=lambda one: one.name)
def test_each_number_just_outside_its_limits_is_refused(worksheet: Any) -> None:
    for one in worksheet.inputs:
        if one.kind in (Kind.NUMBER, Kind.WHOLE) and one.high is not None:
            with pytest.raises(InputError, match=f"^{one.name}: "):
                run(worksheet, worksheet.examples | {one.name: one.high + 1})
