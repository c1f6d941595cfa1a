"""``manage.py readiness`` with a file of facts: no database, exact shapes, code 2 for bad input."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from facility.compute.facts_schema import schema
from facility.compute.states import CAUTION
from tests.make_facts import AT, evaluated, worked_example

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture
def facts_file(tmp_path: Path) -> str:
    path = tmp_path / "facts.json"
    path.write_text(json.dumps(worked_example()), encoding="utf-8")
    return str(path)


@pytest.fixture
def changes_file(tmp_path: Path) -> str:
    path = tmp_path / "changes.json"
    path.write_text(json.dumps([{"op": "without person", "person": "Bo"}]), encoding="utf-8")
    return str(path)


def said(*arguments: str) -> tuple[str, str]:
    out, err = StringIO(), StringIO()
    call_command("readiness", *arguments, stdout=out, stderr=err, no_color=True)
    return out.getvalue(), err.getvalue()


def printed(*arguments: str) -> Any:
    out, err = said(*arguments, "--json")
    assert err.strip() == CAUTION
    return json.loads(out)


def test_json_is_plan_and_evaluation_to_the_letter(facts_file: str) -> None:
    expected = {"TT6": evaluated(worked_example())}
    assert printed("--facts", facts_file, "--at", AT) == expected
    assert printed("--facts", facts_file, "--at", AT, "--plan", "TT6") == expected


def test_the_words_say_state_horizon_limit_and_caution(facts_file: str) -> None:
    out, err = said("--facts", facts_file, "--at", AT)
    assert out.splitlines() == [
        "TT6: Ready",
        "  holds until 2026-11-27T17:22Z, limited by inner-lock depth",
        CAUTION,
    ]
    assert err == ""


def test_the_words_say_what_is_in_the_way(facts_file: str) -> None:
    out, _ = said("--facts", facts_file, "--at", "2026-11-27T17:22Z")
    assert "TT6: Not known" in out
    assert "in the way: inner-lock depth" in out
    assert "ready from, with nobody acting: none on record" in out


def test_what_has_no_end_on_record_says_so(tmp_path: Path) -> None:
    path = tmp_path / "facts.json"
    plan = {"table_min": 60, "margin_min": 0, "needs": []}
    path.write_text(json.dumps({"zone": "UTC", "plans": {"P": plan}}), encoding="utf-8")
    out, _ = said("--facts", str(path), "--at", AT)
    assert out.splitlines()[:2] == ["P: Not known", "  no end on record"]


def test_the_forecast_of_one_plan(facts_file: str) -> None:
    steps = printed("--facts", facts_file, "--at", AT, "--forecast", "TT6")
    assert steps[:2] == [[AT, "Ready"], ["2026-11-27T17:22Z", "Not known"]]
    out, _ = said("--facts", facts_file, "--at", AT, "--forecast", "TT6")
    assert out.splitlines()[0] == f"{AT}  Ready"


def test_a_what_if_shows_before_and_after(facts_file: str, changes_file: str) -> None:
    arguments = ("--facts", facts_file, "--at", AT, "--what-if", changes_file, "--plan", "TT6")
    found = printed(*arguments)
    assert (found["before"]["state"], found["after"]["state"]) == ("Ready", "Not ready")
    out, _ = said(*arguments)
    assert "Before: TT6: Ready" in out
    assert "After: TT6: Not ready" in out


def test_the_schema_is_printed() -> None:
    out, _ = said("--facts-schema")
    assert json.loads(out) == schema()


def test_facts_may_come_from_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", StringIO(json.dumps(worked_example())))
    assert printed("--facts", "-", "--at", AT)["TT6"]["state"] == "Ready"


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--facts", "{facts}"), "--at is missing"),
        (("--facts", "{facts}", "--at", "2026-11-27T10:00"), "is not an instant"),
        (("--facts", "{facts}", "--at", AT, "--plan", "TT5"), "No plan 'TT5'"),
        (("--facts", "{facts}", "--at", AT, "--what-if", "{facts}"), "Name it with --plan"),
        (("--facts", "{facts}", "--at", AT, "--what-if", "{facts}", "--plan", "TT6"), "Give an object with an op"),
        (("--facts", "{facts}.none", "--at", AT), "cannot be read: No such file"),
    ],
)
def test_bad_input_is_a_sentence_and_code_2(facts_file: str, arguments: tuple[str, ...], sentence: str) -> None:
    with pytest.raises(CommandError) as caught:
        said(*[one.replace("{facts}", facts_file) for one in arguments])
    assert caught.value.returncode == 2
    assert sentence in str(caught.value)


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "facts.json"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(CommandError, match="is not UTF-8 text"):
        said("--facts", str(path), "--at", AT)


def test_the_exit_code_is_2_from_the_shell_and_no_database_is_touched(tmp_path: Path, facts_file: str) -> None:
    """Run from the shell against a database that does not exist."""
    environment = os.environ | {
        "DEEPSTEAD_DATABASE_URL": "postgres://nobody@127.0.0.1:1/none",
        "DEEPSTEAD_DATA": str(tmp_path),
    }
    command = [sys.executable, "manage.py", "readiness", "--facts", facts_file, "--at"]
    good = subprocess.run(
        [*command, AT, "--json"], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    assert (good.returncode, json.loads(good.stdout)["TT6"]["state"]) == (0, "Ready")
    bad = subprocess.run([*command, "today"], cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert bad.returncode == 2
    assert "'today' is not an instant" in bad.stderr
    assert bad.stdout == ""
