"""How fast papers are pressed against the page-maker alone, with one press and with two, their memory, and how it grows.

All of it in one run on the same pages: months of a report with rows as a facility has them, in the report's own template.
Limits: design goals of this project; common practice, no source.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Final

from facility.models import Site
from facility.papers.presses import Sheet, press_all
from facility.papers.printing import ROOT, font_file
from facility.project.bench.result import Result
from facility.report.pages import sheet_of
from facility.report.scope import Scope
from facility.report.shape import Cell, Section, Table, Volume, parts

ROWS_A_MONTH: Final = 60
MONTHS: Final = 24
LONG_MONTHS: Final = 120
#: own rate over the page-maker's: at least this with one press and with two; as times, less is better
RATE_ONE, RATE_TWO = 0.85, 1.7
MEMORY_MB, LINEAR = 256.0, 1.2
#: the page-maker alone, as its handbook calls it: one process, the same pages and style, the same kind of PDF
ALONE: Final = """
import json, sys, time
from pathlib import Path
from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration
job = json.load(sys.stdin)
css = job["css"].replace("font:plex", Path(job["font"]).as_uri())
started, busy = time.monotonic(), time.process_time()
for html in job["pages"]:
    fonts = FontConfiguration()
    HTML(string=html).write_pdf(stylesheets=[CSS(string=css, font_config=fonts)], font_config=fonts, **job["options"])
print(time.monotonic() - started, time.process_time() - busy)
"""


def one_press() -> Result:
    """Measure the processor's seconds of one press, its start included, against those of the page-maker alone."""
    alone, plain = _alone(pdf_variant="pdf/a-3a").busy_s, _alone().busy_s
    ratio = _pressed(_sheets(MONTHS), 1).busy_s / alone
    note = f"{1 / ratio:.2f} of its rate; untagged it takes {plain / alone:.2f} of its time"
    return Result("pressing with one press, against the page-maker alone", ratio, 1 / RATE_ONE, "times", note)


def two_presses() -> Result:
    """Measure the seconds of two presses against those of the page-maker alone; other programs must leave both cores."""
    alone, ours = _alone(pdf_variant="pdf/a-3a"), _pressed(_sheets(MONTHS), 2)
    ratio = ours.seconds / alone.seconds
    share = ours.busy_s / ours.seconds
    note = (
        f"{1 / ratio:.2f} times its rate; {share:.2f} cores had, {alone.busy_s / alone.seconds:.2f} by the page-maker"
    )
    return Result("pressing with two presses, against the page-maker alone", ratio, 1 / RATE_TWO, "times", note)


def memory() -> Result:
    """Measure the most that a press held over ten years, one of whose months is as long as a volume may be."""
    long = [*_sheets(LONG_MONTHS // 4), *_sheets_of(1, 3000)]
    peak = max(one.peak_mb for one in press_all(long))
    return Result("memory of a press, whatever the length", float(peak), MEMORY_MB, "MB", f"{len(long)} volumes")


def linear() -> Result:
    """Measure the processor's seconds a month over ten years against those over half a year; starts of presses count."""
    start, one, many = (_pressed(_sheets(months), 1).busy_s for months in (1, 7, LONG_MONTHS))
    ratio = (many - start) / (LONG_MONTHS - 1) / ((one - start) / 6)
    return Result("a month of ten years, against a month of half a year", ratio, LINEAR, "times")


@dataclass(frozen=True, slots=True)
class _Took:
    """How long something took by the clock on the wall, and how long a processor was busy with it."""

    seconds: float
    busy_s: float


def _pressed(sheets: tuple[Sheet, ...], at_once: int) -> _Took:
    started, before = time.monotonic(), children_busy_s()
    for _paper in press_all(sheets, at_once=at_once):
        pass
    return _Took(time.monotonic() - started, children_busy_s() - before)


def children_busy_s() -> float:
    """Return the processor's seconds of all processes that this one started and that ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


@lru_cache(maxsize=4)
def _alone(**options: str) -> _Took:
    """Return what the page-maker alone took, its start not counted."""
    sheets = _sheets(MONTHS)
    job = {"pages": [one.html for one in sheets], "css": sheets[0].css, "font": str(font_file()), "options": options}
    done = subprocess.run(
        [sys.executable, "-c", ALONE], input=json.dumps(job), capture_output=True, text=True, check=True, cwd=ROOT
    )
    seconds, busy_s = done.stdout.split()
    return _Took(float(seconds), float(busy_s))


def _sheets(months: int) -> tuple[Sheet, ...]:
    return _sheets_of(months, ROWS_A_MONTH)


@lru_cache(maxsize=8)
def _sheets_of(months: int, rows: int) -> tuple[Sheet, ...]:
    """Return the pages of so many months with so many rows each."""
    scope = Scope(Site(key="bench", name="Bench", zone="UTC"), None, date(2020, 1, 1), date(2029, 12, 31))
    return tuple(sheet_of(part, scope) for month in range(months) for part in parts(_month(month, rows)))


def _month(number: int, rows: int) -> Volume:
    head = ("Day", "Item", "What was done", "Result", "By", "Record")
    cells = tuple(
        (Cell(f"{row % 28 + 1} Mar 2026"), Cell(f"IL-{row:03d}", sub="Depth gauge, inner lock, panel"),
         Cell("comparison with a reference", sub="46 CFR 197.458"), Cell("passed"), Cell("Per Nygard"),
         Cell(f"event {number * rows + row}", figure=True))
        for row in range(rows)
    )  # fmt: skip
    table = Table("Each record of work", head, cells, (12, 20, 34, 10, 14, 10))
    sections = (
        Section("Checks", "31 checks signed."),
        Section("Work on the plant", f"{rows} records.", tables=(table,)),
    )
    return Volume(f"report-4-month-{number}", f"Records of month {number}", sections)
