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
import zipfile
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from facility.project.bench.report import children_busy_s
from facility.project.bench.result import Result
from facility.project.bench.serving import ROOT, serving, signed_in

if TYPE_CHECKING:
    from collections.abc import Iterator
    from urllib.request import OpenerDirector

SITE = "skerrow"
YEAR_DAYS = 365
COLD_S, WARM_S, TEN_WARM_S, VERIFY_S, SLOWER = 90.0, 10.0, 20.0, 10.0, 2.0
PAGES = 15


def cold() -> Result:
    """Measure a year's pack of the demo, no volume there yet."""
    with _demo() as folder:
        return _result("a year's pack, no volume there", _build(folder, 1), COLD_S)


def warm() -> Result:
    """Measure a year's pack again: volumes of closed months lie there."""
    with _demo() as folder:
        _build(folder, 1)
        return _result("a year's pack, volumes there", _build(folder, 1), WARM_S)


def ten_years() -> Result:
    """Measure ten years again, each with as many records as the last one."""
    with _demo() as folder:
        _manage(folder, "shell", "-c", f"from facility.project.bench.years import lengthen; lengthen({SITE!r}, 9)")
        _build(folder, 10)
        return _result("ten years' pack, volumes there", _build(folder, 10), TEN_WARM_S)


def verifying() -> Result:
    """Measure the verification of a year's pack."""
    with _demo() as folder:
        pack = _build(folder, 1).path
        started = time.monotonic()
        _manage(folder, "verify_pack", pack)
        return Result("verifying a year's pack in the app", time.monotonic() - started, VERIFY_S, "s")


def verifying_alone() -> Result:
    """Measure the verification of a year's pack as a stranger does it: unpacked, the standard library alone."""
    with _demo() as folder:
        pack = Path(_build(folder, 1).path)
        with zipfile.ZipFile(pack) as archive:
            archive.extractall(folder / "unpacked")  # made here a moment ago
        root = next((folder / "unpacked").iterdir())
        started = time.monotonic()
        subprocess.run([sys.executable, "-I", "-S", "verify.py"], cwd=root, check=True, capture_output=True)
        return Result("verifying a year's pack with verify.py", time.monotonic() - started, VERIFY_S, "s")


def beside_pages() -> Result:
    """Measure how much slower the Now page comes while a pack is built from nothing, in the middle of several tries."""
    with _demo() as folder, serving(str(folder), "--demo") as (_root, port):
        browser, address = signed_in(port)
        _page(browser, address)
        alone = [_page(browser, address) for _turn in range(PAGES)]
        building = threading.Thread(target=_build, args=(folder, 1))
        building.start()
        beside = []
        while building.is_alive():
            beside.append(_page(browser, address))
            time.sleep(0.1)
        building.join()
        ratio = statistics.median(beside) / statistics.median(alone)
        note = f"{len(beside)} tries, alone {statistics.median(alone) * 1000:.0f} ms"
        return Result("the Now page while a pack is built, against alone", ratio, SLOWER, "times", note)


@contextmanager
def _demo() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "data"
        _manage(folder, "up", "--demo", "--no-serve")
        yield folder


@dataclass(frozen=True, slots=True)
class _Built:
    """A pack: its seconds by the clock on the wall, those that processors were busy with it, and its path."""

    seconds: float
    busy_s: float
    path: str


def _result(name: str, built: _Built, limit_s: float) -> Result:
    return Result(name, built.seconds, limit_s, "s", f"{built.busy_s:.1f} s of processors")


def _build(folder: Path, years: int) -> _Built:
    """Build a pack of so many years in a process of its own."""
    today = datetime.now(UTC).date()
    first = today - timedelta(days=YEAR_DAYS * years)
    started, before = time.monotonic(), children_busy_s()
    said = _manage(
        folder, "build_pack", SITE, "--from", str(first), "--to", str(today), "--recipient", "bench", "--ground", "bench",
        "--out", str(folder / "out"),
    )  # fmt: skip
    return _Built(time.monotonic() - started, children_busy_s() - before, said.splitlines()[-1])


def _page(browser: OpenerDirector, address: str) -> float:
    """Return the seconds that a page takes to come whole."""
    started = time.monotonic()
    with browser.open(address, timeout=60) as answer:  # our own server on loopback
        answer.read()
    return time.monotonic() - started


def _manage(folder: Path, *arguments: str) -> str:
    env = {**os.environ, "DEEPSTEAD_DATA": str(folder)}
    env.pop("DEEPSTEAD_DATABASE_URL", None)
    done = subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *arguments], env=env, check=True, capture_output=True, text=True
    )
    return done.stdout
