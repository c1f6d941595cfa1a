"""manage.py readiness SITE: words and JSON, and clear refusals."""

from __future__ import annotations

import json
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from tests import make
from tests.facility.readiness_db import build

pytestmark = pytest.mark.django_db
AT = "2026-11-27T10:00Z"


def said(*arguments: str) -> str:
    out = StringIO()
    call_command("readiness", *arguments, stdout=out)
    return out.getvalue()


def answered(*arguments: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(said(*arguments, "--json"))
    return found


def test_the_json_has_the_shape_of_the_facts_with_chamber_and_plan() -> None:
    build.worked_example()
    found = answered("skerrow", "--at", AT)
    assert (found["site"], found["at"]) == ("skerrow", AT)
    (plan,) = found["plans"]
    assert (plan["chamber"], plan["plan"], plan["state"]) == ("chamber-1", "TT6", "Ready")
    # the worked example, by hand: 28 Nov 02:00 less 8 h 38
    assert (plan["holds_until"], plan["limiting"]) == ("2026-11-27T17:22Z", ["inner-lock-depth"])
    assert set(plan["findings"]["oxygen"]) >= {"reason", "value", "limit", "source", "lift", "members"}


def test_an_offset_is_the_same_instant_as_utc() -> None:
    build.worked_example()
    assert answered("skerrow", "--at", "2026-11-27T11:00+01:00") == answered("skerrow", "--at", AT)


def test_the_words_say_state_limit_and_caution() -> None:
    build.worked_example()
    text = said("skerrow", "--at", AT)
    assert "TT6: Ready, until 2026-11-27T17:22Z, limited by Inner-lock-depth" in text
    assert "From records only; the supervisor and the physician decide; local codes prevail." in text


def test_the_list_gives_a_line_per_site_its_key_first() -> None:
    build.worked_example()
    make.site(key="another", name="Another place")
    lines = said("--list").splitlines()
    assert [line.split("\t")[0] for line in lines] == ["another", "skerrow"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("nowhere",), ["'nowhere'", "skerrow"]),
        (("skerrow", "--chamber", "chamber-9"), ["'chamber-9'", "chamber-1"]),
        (("skerrow", "--at", "yesterday"), ["'yesterday'", "2026-11-27T10:00Z"]),
        (("skerrow", "--at", "2026-11-27T10:00"), ["offset", "'2026-11-27T10:00'"]),
        ((), ["--list"]),
    ],
)
def test_a_wrong_question_names_the_value_and_what_exists(arguments: tuple[str, ...], words: list[str]) -> None:
    build.worked_example()
    with pytest.raises(CommandError) as refused:
        said(*arguments)
    assert refused.value.returncode == 2
    assert all(word in str(refused.value) for word in words)


def test_a_site_without_plans_says_that_nothing_is_known() -> None:
    make.chamber(make.site(key="bare"))
    assert "nothing is known" in said("bare", "--at", AT)
    assert answered("bare", "--at", AT)["plans"] == []
