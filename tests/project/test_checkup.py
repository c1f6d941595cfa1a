"""The list of checks behind ``manage.py test``: complete, honest about what it leaves out, and red when it must be."""

from __future__ import annotations

import sys
from collections import Counter

import pytest

from facility.management.commands.test import Command
from facility.project import bootstrap, checkup
from facility.project.checkup import Outcome, Step

PASSES = Step("passes", [sys.executable, "-c", "print('all well')"])
FAILS = Step("fails", [sys.executable, "-c", "raise SystemExit(2)"])
LEFT_OUT = Step("left out", [sys.executable, "-c", "raise SystemExit(2)"], left_out=lambda: "no server is there")


def test_format_lint_types_floors_templates_migrations_and_tests_are_in_it() -> None:
    lines = [" ".join(step.command) for step in checkup.steps()]
    for tool in (
        "ruff format",
        "ruff check",
        "mypy",
        "lint-imports",
        "djlint",
        "makemigrations --check",
        "check --deploy",
    ):
        assert any(tool in line for line in lines), tool
    assert sum("pytest" in line for line in lines) == 4


def test_a_step_passes_or_fails_by_its_exit_code() -> None:
    assert checkup.run(PASSES).passed
    assert not checkup.run(FAILS).passed


def test_a_tool_that_is_not_installed_is_red_and_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert not checkup.run(Step("polish", ["/nowhere/polish"])).passed
    assert "/nowhere/polish is not installed" in capsys.readouterr().out


def test_what_is_left_out_is_told_with_its_reason(capsys: pytest.CaptureFixture[str]) -> None:
    assert checkup.report([checkup.run(PASSES), checkup.run(LEFT_OUT)]) == 0
    assert "left out  left out: no server is there" in capsys.readouterr().out


def test_one_failed_step_makes_the_whole_red(capsys: pytest.CaptureFixture[str]) -> None:
    assert checkup.report([checkup.run(PASSES), checkup.run(FAILS)]) == 1
    assert capsys.readouterr().out.splitlines()[-1] == "0 passed, 1 failed, 0 skipped"


def test_the_closing_line_adds_up_the_tests_of_every_run(capsys: pytest.CaptureFixture[str]) -> None:
    outcomes = [
        Outcome(PASSES, passed=True, seconds=1, counts=Counter(passed=40, skipped=2)),
        Outcome(PASSES, passed=False, seconds=1, counts=Counter(passed=3, failed=1)),
    ]
    assert checkup.report(outcomes) == 1
    assert capsys.readouterr().out.splitlines()[-1] == "43 passed, 1 failed, 2 skipped"


@pytest.mark.parametrize(
    ("line", "counts"),
    [
        ("61 passed in 5.13s", {"passed": 61}),
        ("2 failed, 59 passed, 3 skipped in 5.13s", {"failed": 2, "passed": 59, "skipped": 3}),
        ("8 failed, 474 passed, 11 errors in 66.31s (0:01:06)", {"failed": 19, "passed": 474}),
        ("no tests ran in 0.01s", {}),
    ],
)
def test_pytest_s_closing_line_is_understood(line: str, counts: dict[str, int]) -> None:
    assert checkup.counted(line) == counts


def test_a_server_that_does_not_answer_is_no_postgresql(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DEEPSTEAD_TEST_POSTGRES_URL", raising=False)
    monkeypatch.setattr(checkup, "POSTGRES_PORT", 1)
    assert "no PostgreSQL answers on 127.0.0.1:1" in checkup.no_postgres()


def test_a_named_postgresql_is_always_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DEEPSTEAD_TEST_POSTGRES_URL", "postgresql://tester@db.example/records")
    assert checkup.no_postgres() == ""
    assert checkup.postgres_url() == "postgresql://tester@db.example/records"


def test_without_chromium_the_browser_tests_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap, "BROWSERS", ("/nowhere/chromium",))
    assert "no Chromium" in bootstrap.no_browser()


def test_without_the_driver_s_library_they_are_left_out_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap, "BROWSERS", (sys.executable,))
    monkeypatch.setattr(bootstrap, "DRIVER_LIBRARY", "libnowhere-9.so.0")
    assert "lacks libnowhere-9.so.0" in bootstrap.no_browser()


def test_arguments_for_pytest_keep_their_order(monkeypatch: pytest.MonkeyPatch) -> None:
    given: list[object] = []

    def main(**arguments: object) -> int:
        given.append(arguments)
        return 0

    monkeypatch.setattr(checkup, "main", main)
    with pytest.raises(SystemExit):
        Command().run_from_argv(["manage.py", "test", "tests/project", "--long", "-k", "jobs", "-v"])
    assert given == [{"fast": False, "long": True, "extra": ["tests/project", "-k", "jobs", "-v"]}]
