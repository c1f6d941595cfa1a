"""Eight processes that write at once on SQLite, each as fast as it can, through the project's own services.

Limits: design goals of this project; common practice, no source. A write is one reading of a gas bank with its event
in one transaction, as the page for it does; each is followed by reads of what was written last.
"""

from __future__ import annotations

import json
import os
import time
from contextlib import suppress
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import OperationalError, connection, connections

from facility import events, services
from facility.models import Event, Organisation, Site
from facility.project.bench.result import Result
from facility.project.bench.scratch import AT, bulk, scratch_database
from maintenance.models import BankReading, GasBank

if TYPE_CHECKING:
    from collections.abc import Iterable

WRITERS = 8
FOR_S = 20.0
P95_LIMIT_MS = 150.0
READS = 3
BY = events.system("bench")


class LockError(RuntimeError):
    """A write was refused because others wrote at the same time."""


def eight(for_s: float = FOR_S) -> Result:
    """Return the time within which 95 of 100 writes are stored.

    Errors: LockError if one is refused; RuntimeError on another database than SQLite, or if a writer fell.
    """
    if connection.vendor != "sqlite":
        raise RuntimeError("Eight writers are measured on SQLite: leave DEEPSTEAD_DATABASE_URL empty.")
    with scratch_database():
        banks = _banks()
        connections.close_all()
        taken, refused = _together(banks, for_s)
        if refused:
            raise LockError(f"{refused} of {len(taken) + refused} writes were refused: the database was locked.")
        _all_stored(len(taken))
    p95 = sorted(taken)[int(0.95 * len(taken))]
    note = f"{len(taken)} writes in {for_s:.0f} s, none refused, the longest {1000 * max(taken):.0f} ms"
    return Result(f"{WRITERS} writers on SQLite, 95 of 100 within", 1000 * p95, P95_LIMIT_MS, "ms", note)


def _banks() -> list[GasBank]:
    (house,) = bulk([Organisation(key="writers", name="Bench")])
    (site,) = bulk([Site(organisation=house, key="writers", name="Bench", zone="UTC")])
    return bulk(GasBank(site=site, key=f"bank-{n}", name=f"Bank {n}", gas="O2") for n in range(WRITERS))


def _together(banks: Iterable[GasBank], for_s: float) -> tuple[list[float], int]:
    """Let a process write for each bank, all for the same time; return the seconds of each write, and how many failed."""
    begin = time.monotonic() + 1
    writers = [_begun(bank, begin, begin + for_s) for bank in banks]
    taken: list[float] = []
    refused = 0
    for pid, end in writers:
        with os.fdopen(end) as told:
            text = told.read()
        if os.waitpid(pid, 0)[1] or not text:
            raise RuntimeError("A writer fell in the middle.")
        some, failed = json.loads(text)
        taken += some
        refused += failed
    return taken, refused


def _begun(bank: GasBank, begin: float, end: float) -> tuple[int, int]:
    """Fork a writer; return its number and where it tells what it found."""
    out, told = os.pipe()
    pid = os.fork()
    if pid:
        os.close(told)
        return pid, out
    code = 1
    with suppress(BaseException):  # whatever happens here must not go on as the parent would
        os.close(out)
        time.sleep(max(0.0, begin - time.monotonic()))
        found = json.dumps(_write(bank, end))
        with os.fdopen(told, "w") as place:
            place.write(found)
        code = 0
    os._exit(code)


def _write(bank: GasBank, end: float) -> tuple[list[float], int]:
    taken: list[float] = []
    refused = 0
    while (begun := time.monotonic()) < end:
        reading = BankReading(
            bank=bank, read_at=AT + timedelta(seconds=len(taken)), pressure=Decimal(150), unit="bar", read_by="Bench"
        )
        try:
            services.add(reading, by=BY)
        except OperationalError:
            refused += 1
            continue
        taken.append(time.monotonic() - begun)
        for _ in range(READS):
            BankReading.objects.current().filter(bank=bank).order_by("-read_at").first()
    return taken, refused


def _all_stored(number: int) -> None:
    """Refuse to tell a time if a write is missing: readings and events are counted."""
    found = (BankReading.objects.count(), Event.objects.filter(actor=BY.name).count())
    if found != (number, number):
        raise RuntimeError(f"{number} writes, but {found[0]} readings and {found[1]} events are stored.")
