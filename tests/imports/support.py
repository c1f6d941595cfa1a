"""The small facility of tests/data/own_facility as bytes by name, and how a test changes one of its files."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import TYPE_CHECKING

from facility import events
from facility.imports import waiting
from facility.imports.folder import read_folder
from facility.imports.take import Options, take
from facility.imports.taking import Asked, Way
from facility.jobs import runner

if TYPE_CHECKING:
    from facility.imports.report import Problem, Report
    from facility.models import Site, User

FOLDER = Path(__file__).parent.parent / "data" / "own_facility"
BY = events.system("import")


def facility() -> dict[str, bytes]:
    """Return the files of the small facility."""
    return read_folder(FOLDER)


def changed(file: str, old: str, new: str) -> dict[str, bytes]:
    """Return the files with one text of one file exchanged; the text must be there."""
    files = facility()
    assert old.encode() in files[file], f"{file} does not hold {old!r}"
    return files | {file: files[file].replace(old.encode(), new.encode())}


def run(files: dict[str, bytes], options: Options | None = None) -> Report:
    """Take the files in."""
    return take(files, options or Options(), by=BY)


def only_problem(report: Report) -> Problem:
    """Return the one thing that was refused."""
    assert len(report.problems) == 1, report.as_text()
    return report.problems[0]


def run_jobs() -> None:
    """Run every job that is due, as the runner does."""
    while (job := runner.claim("test", now=events.now())) is not None:
        runner.run(job, clock=events.now)


def asked_for(content: bytes, user: User, site: Site, way: Way = Way.ALL) -> Asked:
    """Keep a file of people and return the question to take it in."""
    return Asked(waiting.keep({"people.csv": content}), way, user.pk, site.pk, "12345678")


def grow_old() -> None:
    """Let all that is kept be older than the day for which it stays."""
    old = time.time() - waiting.KEPT_SECONDS - 1
    for one in waiting._folder().iterdir():
        os.utime(one, (old, old))
