"""The JSON Schema of the facts, against the jsonschema library and the reader."""

from __future__ import annotations

import json

import jsonschema
import pytest

from facility.compute.facts_json import dump_facts, facility_of
from facility.compute.facts_schema import schema
from tests.make_facts import big_facility, worked_example
from tests.strategies import random_facts, seeded

VALIDATOR = jsonschema.Draft202012Validator(schema())


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())


def test_what_is_read_fits_the_schema_and_so_does_what_is_written() -> None:
    many = [random_facts(seeded(seed))[0] for seed in range(50)]
    for facts in [worked_example(), big_facility(60, 6, 2), *many]:
        VALIDATOR.validate(facts)
        VALIDATOR.validate(json.loads(json.dumps(dump_facts(facility_of(facts)))))


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("surprise", 1),
        ("zone", ""),
        ("roster_until", "tomorrow"),
        ("members", {"G": {"kind": "gauge"}}),
        ("needs", {"N": {"k": 0, "members": []}}),
        ("waivers", [{"need": "crew", "from": "2026-11-27T00:00Z", "until": "2026-11-28T00:00Z", "accepts": 1}]),
    ],
)
def test_what_is_refused_does_not_fit_the_schema(key: str, value: object) -> None:
    facts = worked_example() | {key: value}
    assert not VALIDATOR.is_valid(facts)
