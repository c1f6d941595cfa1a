"""How long a pack of the demo takes: cold, with its volumes lying there, ten years of it, and to verify a year.

Limits: design goals of this project; common practice, no source. Each command is a process of its own, its start included.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.request import urlopen

from facility.project.bench.result import Result
from facility.project.bench.serving import ROOT, serving

if TYPE_CHECKING:
    from collections.abc import Iterator

SITE = "skerrow"
YEAR_DAYS = 365
COLD_S, WARM_S, TEN_WARM_S, VERIFY_S, SLOWER = 90.0, 10.0, 20.0, 10.0, 2.0
PAGES = 15


def cold() -> Result:
    """Measure a year's pack of the demo, no volume there yet."""
    with _demo() as folder:
        return Result("a year's pack, no volume there", _build(folder, 1)[0], COLD_S, "s")


def warm() -> Result:
    """Measure a year's pack again: volumes of closed months lie there."""
    with _demo() as folder:
        _build(folder, 1)
        return Result("a year's pack, volumes there", _build(folder, 1)[0], WARM_S, "s")


def ten_years() -> Result:
    """Measure ten years again."""
    with _demo() as folder:
        _build(folder, 10)
        return Result("ten years' pack, volumes there", _build(folder, 10)[0], TEN_WARM_S, "s")


def verifying() -> Result:
    """Measure the verification of a year's pack."""
    with _demo() as folder:
        pack = _build(folder, 1)[1]
        started = time.monotonic()
        _manage(folder, "verify_pack", pack)
        return Result("verifying a year's pack", time.monotonic() - started, VERIFY_S, "s")


def beside_pages() -> Result:
    """Measure how much slower a page comes while a pack is built from nothing, in the middle of several tries."""
    with _demo() as folder, serving(str(folder)) as (_root, port):
        alone = [_page(port) for _turn in range(PAGES)]
        building = threading.Thread(target=_build, args=(folder, 1))
        building.start()
        beside = []
        while building.is_alive():
            beside.append(_page(port))
            time.sleep(0.1)
        building.join()
        ratio = statistics.median(beside) / statistics.median(alone)
        return Result("a page while a pack is built, against alone", ratio, SLOWER, "times", f"{len(beside)} tries")


@contextmanager
def _demo() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "data"
        _manage(folder, "up", "--demo", "--no-serve")
        yield folder


def _build(folder: Path, years: int) -> tuple[float, str]:
    """Return the seconds that a pack took, and its path."""
    today = datetime.now(UTC).date()
    first = today - timedelta(days=YEAR_DAYS * years)
    started = time.monotonic()
    said = _manage(
        folder, "build_pack", SITE, "--from", str(first), "--to", str(today), "--recipient", "bench", "--ground", "bench",
        "--out", str(folder / "out"),
    )  # fmt: skip
    return time.monotonic() - started, said.splitlines()[-1]


def _page(port: int) -> float:
    """Return the seconds that the door of the app takes to answer; it asks the database as every page does."""
    started = time.monotonic()
    with urlopen(f"http://127.0.0.1:{port}/readyz", timeout=60) as answer:  # our own server on loopback
        answer.read()
    return time.monotonic() - started


def _manage(folder: Path, *arguments: str) -> str:
    env = {**os.environ, "DEEPSTEAD_DATA": str(folder)}
    env.pop("DEEPSTEAD_DATABASE_URL", None)
    done = subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *arguments], env=env, check=True, capture_output=True, text=True
    )
    return done.stdout
