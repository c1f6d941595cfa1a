"""How long a recorded profile takes: taken in, cut, stored, laid beside log and table, against parsing its figures.

Limits: design goals of this project; common practice, no source.
"""

from __future__ import annotations

import csv
import io
import tempfile
import time
from datetime import timedelta
from decimal import Decimal
from random import Random

from django.test import override_settings

from facility import events, services
from facility.evidence import keep_text
from facility.project.bench.readiness import seconds
from facility.project.bench.result import Result
from facility.project.bench.scratch import AT, Size, facilities, scratch_database
from treatments.compute.conformity import compare
from treatments.compute.instrument import decoded, guess, taken_in
from treatments.compute.profile import Profile, depth_at, profile
from treatments.compute.recorded import recorded
from treatments.models import LogEntry, LogKind, Plan, Run
from treatments.recording.disagreements import beside_log, pieces_of
from treatments.recording.taking import keep
from treatments.reference import table
from treatments.reference.laws import tolerances

SAMPLES = 18_000
NOISE_FSW = 0.2
LIMIT_S, LIMIT_TIMES = 1.5, 30.0
BY = events.system("bench")
LOG = ((LogKind.REACHED_DEPTH, 3, 60), (LogKind.LEFT_DEPTH, 78, 60), (LogKind.REACHED_STOP, 108, 30),
       (LogKind.LEFT_STOP, 258, 30))  # fmt: skip


def text_of(planned: Profile) -> str:
    """Return what an instrument writes once a second, with noise, and at the surface after the run."""
    chance = Random(1)  # noqa: S311  # noise of a made-up gauge
    lines = ["time s;depth fsw"]
    for second in range(SAMPLES):
        depth = depth_at(planned, min(second / 60, planned.run_minutes))
        lines.append(f"{second};{depth + chance.gauss(0, NOISE_FSW):.2f}")
    return "\n".join(lines) + "\n"


def _run() -> Run:
    (chamber,) = facilities(1, Size(items=40, people=8, plans=4, needs=20, months=1))
    plan = Plan.objects.filter(chamber=chamber)[0]
    run = services.add(
        Run(chamber=chamber, number=10_000, purpose="treatment", plan=plan, started_at=AT, planned_end_at=AT, supervisor="bench",
            ended_at=AT + timedelta(minutes=288)), by=BY,
    )  # fmt: skip
    for kind, minute, depth in LOG:
        at = AT + timedelta(minutes=minute)
        services.add(LogEntry(run=run, kind=kind, occurred_at=at, depth=Decimal(depth), depth_unit="fsw"), by=BY)
    return run


def _whole(run: Run, planned: Profile, raw: bytes) -> None:
    """Take a file in and do everything that its page shows."""
    text = decoded(taken_in([raw]))[0]
    evidence = keep_text(raw, "text/csv", "bench.csv", site=run.chamber.site, by=BY)
    row = keep(run, evidence, guess(text), "bench", by=BY)
    compare(planned, recorded(pieces_of(row), tolerances().depth_fsw), tolerances())
    beside_log(row)


def _floats(text: str) -> None:
    rows = csv.reader(io.StringIO(text), delimiter=";")
    next(rows)
    [(float(one), float(other)) for one, other in rows]


def import_seconds() -> Result:
    """A record of 18 000 samples from its bytes to its differences, the disk included."""
    with scratch_database(), tempfile.TemporaryDirectory() as folder, override_settings(EVIDENCE_DIR=folder):
        planned, run = profile(table("TT6")), _run()
        raw = text_of(planned).encode()
        begun = time.perf_counter()
        _whole(run, planned, raw)
        taken = time.perf_counter() - begun
    return Result("recorded profile of 18 000 samples, taken in and compared", taken, LIMIT_S, "s")


def import_ratio() -> Result:
    """The same against parsing the same text into floats."""
    with scratch_database(), tempfile.TemporaryDirectory() as folder, override_settings(EVIDENCE_DIR=folder):
        planned, run = profile(table("TT6")), _run()
        text = text_of(planned)
        raw = text.encode()
        whole, floats = seconds([lambda: _whole(run, planned, raw), lambda: _floats(text)], 7)
    return Result("the same against parsing its figures", whole / floats, LIMIT_TIMES, "times")
