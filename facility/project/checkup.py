"""The one list of checks behind ``manage.py test``: what runs, what is left out and why. Standard library only."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from facility.project import bootstrap

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

ROOT = Path(__file__).resolve().parent.parent.parent
NO_TESTS = 5  # pytest's exit code when it found none
POSTGRES_PORT = 5432
#: the computations are where a wrong number would be acted on
COVERAGE = [
    *(f"--cov={app}/compute" for app in ("facility", "maintenance", "treatments")),
    "--cov-report=term:skip-covered",
    "--cov-fail-under=95",
]
CLOSING = re.compile(r"(\d+) (passed|failed|errors?|skipped|xfailed|xpassed)")
COLOURS = re.compile(r"\x1b\[[0-9;]*m")


@dataclass(frozen=True, slots=True)
class Step:
    """One check: a program of the environment, and the reason if it has to be left out."""

    name: str
    command: Sequence[str]
    environment: Mapping[str, str] = field(default_factory=dict)
    left_out: Callable[[], str] = lambda: ""
    quick: bool = True


@dataclass(frozen=True, slots=True)
class Outcome:
    """How one step ended; ``counts`` are pytest's own."""

    step: Step
    passed: bool
    seconds: float
    counts: Counter[str] = field(default_factory=Counter)
    left_out: str = ""


def tool(name: str, *arguments: str) -> list[str]:
    """Return the command line of a tool that was installed beside this Python."""
    return [str(Path(sys.executable).parent / name), *arguments]


def manage(*arguments: str) -> list[str]:
    """Return the command line of a management command."""
    return [sys.executable, str(ROOT / "manage.py"), *arguments]


def pytest(*arguments: str) -> list[str]:
    """Return the command line of a run of the tests."""
    return [sys.executable, "-m", "pytest", "-q", "--color=no", *arguments]


def production() -> dict[str, str]:
    """Return the environment of an installation behind TLS, for Django's own deployment check."""
    return {
        "DEEPSTEAD_TLS": "yes",
        "DEEPSTEAD_HOSTS": "chamber.example",
        "DEEPSTEAD_SECRET_KEY": "checked-only-for-its-length-" + "0123456789" * 5,
    }


def steps() -> list[Step]:
    """Return every step in order."""
    url = postgres_url()
    return [
        Step("format of the code", tool("ruff", "format", "--check", "--output-format", "concise", ".")),
        Step("lint of the code", tool("ruff", "check", "--output-format", "concise", ".")),
        Step("types", tool("mypy", "--cache-dir", os.devnull)),  # a kept cache makes the Django plugin report wrongly
        Step("floors of the code", tool("lint-imports", "--no-logo")),
        Step("templates", tool("djlint", "templates", "--lint", "--quiet")),
        Step("migrations are complete", manage("makemigrations", "--check", "--dry-run")),
        Step("deployment check", manage("check", "--deploy", "--fail-level", "WARNING"), production()),
        Step("tests", pytest("-n", "2", "-m", "not browser and not postgres and not service", *COVERAGE)),
        Step(
            "tests on PostgreSQL",
            pytest("-m", "postgres or both", "tests"),
            {"DEEPSTEAD_DATABASE_URL": url},
            no_postgres,
            quick=False,
        ),
        Step("tests of processes and brokers", pytest("-m", "service", "tests"), quick=False),
        Step(
            "tests in the browser", pytest("-m", "browser", "tests/browser"), left_out=bootstrap.no_browser, quick=False
        ),
    ]


def postgres_url() -> str:
    """Return the address of a PostgreSQL for tests; the run makes and removes a database of its own there."""
    given = os.environ.get("DEEPSTEAD_TEST_POSTGRES_URL")
    return given or f"postgresql://{os.environ.get('USER') or 'root'}@127.0.0.1:{POSTGRES_PORT}/deepstead_{os.getpid()}"


def no_postgres() -> str:
    """Return why PostgreSQL cannot be tried, or nothing."""
    if os.environ.get("DEEPSTEAD_TEST_POSTGRES_URL"):
        return ""
    try:
        socket.create_connection(("127.0.0.1", POSTGRES_PORT), timeout=1).close()
    except OSError:
        return (
            f"no PostgreSQL answers on 127.0.0.1:{POSTGRES_PORT}, and DEEPSTEAD_TEST_POSTGRES_URL names none"
            " (the other tests ran on SQLite)"
        )
    probe = "import psycopg, sys; psycopg.connect(sys.argv[1], connect_timeout=3).close()"
    server = postgres_url().rsplit("/", 1)[0] + "/postgres"
    done = subprocess.run([sys.executable, "-c", probe, server], check=False, capture_output=True, text=True, cwd=ROOT)
    if done.returncode:
        return f"the PostgreSQL on this machine does not let this user in: {done.stderr.strip().splitlines()[-1]}"
    return ""


def run(step: Step) -> Outcome:
    """Run one step with its output shown, unless it has to be left out."""
    reason = step.left_out()
    if reason:
        return Outcome(step, passed=True, seconds=0, left_out=reason)
    if not Path(step.command[0]).exists():
        _say(f"{step.command[0]} is not installed: pip install -r tests/requirements.txt")
        return Outcome(step, passed=False, seconds=0)
    _say(f"\n=== {step.name}: {' '.join(_short(step.command))}")
    started = time.monotonic()
    environment = {**os.environ, **step.environment}
    with subprocess.Popen(
        step.command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace"
    ) as process:  # fmt: skip
        last = ""
        for line in process.stdout or ():
            print(line, end="", flush=True)
            last = line if line.strip() else last
    counts = counted(last) if "pytest" in step.command else Counter()
    nothing = "pytest" in step.command and process.returncode == NO_TESTS
    reason = "no test carries this mark yet" if nothing else ""
    return Outcome(step, process.returncode == 0 or nothing, time.monotonic() - started, counts, reason)


def _short(command: Sequence[str]) -> Iterator[str]:
    return (str(Path(word).name if word.startswith("/") else word) for word in command)


def counted(line: str) -> Counter[str]:
    """Return what pytest's closing line counted.

    >>> sorted(counted("=== 2 failed, 31 passed, 1 error in 4.20s ===").items())
    [('failed', 3), ('passed', 31)]
    """
    counts: Counter[str] = Counter()
    for number, word in CLOSING.findall(COLOURS.sub("", line)):
        counts["failed" if word.startswith("error") else word] += int(number)
    return counts


def report(outcomes: Sequence[Outcome]) -> int:
    """Print what passed, what failed and what was left out. Return the exit code."""
    _say("\n=== What was checked")
    for outcome in outcomes:
        word = "left out" if outcome.left_out else "passed" if outcome.passed else "FAILED"
        _say(
            f"{word:9} {outcome.step.name}"
            + (f": {outcome.left_out}" if outcome.left_out else f" ({outcome.seconds:.0f} s)")
        )
    total = sum((outcome.counts for outcome in outcomes), Counter[str]())
    broken = sum(not outcome.passed and not outcome.counts["failed"] for outcome in outcomes)
    failed = total["failed"] + broken
    _say(f"{total['passed']} passed, {failed} failed, {total['skipped']} skipped")
    return 1 if failed or not all(outcome.passed for outcome in outcomes) else 0


def main(*, fast: bool, long: bool, extra: Sequence[str]) -> int:
    """Run the list, or only pytest when arguments for it are given. Return the exit code."""
    if long:
        os.environ["DEEPSTEAD_LONG"] = "1"
    if extra:
        return subprocess.run(pytest(*extra), check=False, cwd=ROOT).returncode
    chosen = [step for step in steps() if step.quick or not fast]
    return report([run(step) for step in chosen])


def _say(sentence: str) -> None:
    print(sentence, flush=True)
