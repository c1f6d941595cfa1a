"""Eight processes that write at once on SQLite, each as fast as it can, through the project's own services.

Limits: design goals of this project; common practice, no source. A write is one reading of a gas bank with its event
in one transaction, as the page for it does; each is followed by reads of what was written last. The same processes
write two bare rows a transaction by turns: what the disk alone takes on this machine at this time.
"""

from __future__ import annotations

import json
import os
import time
from contextlib import suppress
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import OperationalError, connection, connections, transaction

from facility import events, services
from facility.models import Event, Organisation, Site
from facility.project.bench.result import Result
from facility.project.bench.scratch import AT, bulk, scratch_database
from maintenance.models import BankReading, GasBank

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    Write = Callable[[GasBank, float], tuple[list[float], int]]

WRITERS = 8
FOR_S = 20.0
P95_LIMIT_MS = 150.0
READS = 3
TURNS = 4
BARE = "bench_bare"
ROW_LETTERS = 600
"""As long as an event of a reading."""
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
        with connection.cursor() as cursor:
            cursor.execute(f"CREATE TABLE {BARE} (row INTEGER PRIMARY KEY, content TEXT)")
        connections.close_all()
        taken: list[float] = []
        bare: list[float] = []
        refused = 0
        for _ in range(TURNS):
            some, failed = _together(banks, for_s / TURNS, _write)
            taken, refused = taken + some, refused + failed
            bare += _together(banks, for_s / TURNS / 2, _write_bare)[0]
        if refused:
            raise LockError(f"{refused} of {len(taken) + refused} writes were refused: the database was locked.")
        _all_stored(len(taken))
    note = (
        f"{len(taken)} writes in {for_s:.0f} s, none refused, the longest {1000 * max(taken):.0f} ms;"
        f" bare transactions {_p95_ms(bare):.0f} ms"
    )
    return Result(f"{WRITERS} writers on SQLite, 95 of 100 within", _p95_ms(taken), P95_LIMIT_MS, "ms", note)


def _p95_ms(taken: list[float]) -> float:
    return 1000 * sorted(taken)[int(0.95 * len(taken))]


def _banks() -> list[GasBank]:
    (house,) = bulk([Organisation(key="writers", name="Bench")])
    (site,) = bulk([Site(organisation=house, key="writers", name="Bench", zone="UTC")])
    return bulk(GasBank(site=site, key=f"bank-{n}", name=f"Bank {n}", gas="O2") for n in range(WRITERS))


def _together(banks: Iterable[GasBank], for_s: float, write: Write) -> tuple[list[float], int]:
    """Let a process write for each bank, all for the same time; return the seconds of each write, and how many failed."""
    begin = time.monotonic() + 1
    writers = [_begun(bank, (begin, begin + for_s), write) for bank in banks]
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


def _begun(bank: GasBank, span: tuple[float, float], write: Write) -> tuple[int, int]:
    """Fork a writer; return its number and where it tells what it found."""
    out, told = os.pipe()
    pid = os.fork()
    if pid:
        os.close(told)
        return pid, out
    code = 1
    with suppress(BaseException):  # whatever happens here must not go on as the parent would
        os.close(out)
        time.sleep(max(0.0, span[0] - time.monotonic()))
        found = json.dumps(write(bank, span[1]))
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


def _write_bare(_bank: GasBank, end: float) -> tuple[list[float], int]:
    taken: list[float] = []
    while (begun := time.monotonic()) < end:
        with transaction.atomic(), connection.cursor() as cursor:
            for _ in range(2):
                cursor.execute(f"INSERT INTO {BARE} (content) VALUES (%s)", ["x" * ROW_LETTERS])  # noqa: S608  # our own name
        taken.append(time.monotonic() - begun)
    return taken, 0


def _all_stored(number: int) -> None:
    """Refuse to tell a time if a write is missing: readings and events are counted."""
    found = (BankReading.objects.count(), Event.objects.filter(actor=BY.name).count())
    if found != (number, number):
        raise RuntimeError(f"{number} writes, but {found[0]} readings and {found[1]} events are stored.")
