"""A benchmark tells its ratio to a limit and is red above it."""

from __future__ import annotations

import subprocess
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from facility.management.commands import bench
from facility.project.bench.result import Result


@pytest.mark.parametrize(("measured", "word", "ratio"), [(3.0, "within", "1.00"), (3.03, "OVER", "1.01")])
def test_the_limit_itself_is_within(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], measured: float, word: str, ratio: str
) -> None:
    monkeypatch.setattr(bench, "BENCHMARKS", {"start": lambda: Result("start", measured, 3.0, "s")})
    if word == "OVER":
        with pytest.raises(CommandError, match="1 of 1 over the limit"):
            call_command("bench")
    else:
        call_command("bench")
    assert capsys.readouterr().out.startswith(f"{word:7}  {ratio}")


def test_an_unknown_benchmark_is_refused_with_the_known_ones() -> None:
    with pytest.raises(CommandError, match="No benchmark is called speed. There are: .*idle-memory"):
        call_command("bench", "speed")


def test_what_is_measured_apart_runs_in_a_process_of_its_own_and_each_that_is_over_is_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[list[str]] = []

    def run(line: list[str], **_more: Any) -> subprocess.CompletedProcess[str]:
        asked.append(line[line.index("bench") + 1 :])
        return subprocess.CompletedProcess(line, int("run-dose" in line))

    monkeypatch.setattr(subprocess, "run", run)
    with pytest.raises(CommandError, match="among: run-dose.$"):
        call_command("bench", "watch-time", "watch-memory", "run-dose", "gas-content")
    assert asked == [["watch-time", "watch-memory"], ["run-dose"], ["gas-content"]]
