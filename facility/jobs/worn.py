"""Whether the runner holds much more memory than it began with: Python gives little back after a big job."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from facility import events

MEBIBYTE = 1024 * 1024
MOST_MIB = 24
"""Growth from which on the runner begins anew; a judgement, no source."""
LEAST_SECONDS = 120.0
"""A runner younger than this stays, so that work of every few minutes does not start it anew each time."""
STATM = Path("/proc/self/statm")


def own_mib() -> float | None:
    """Return the memory that this process shares with nobody, in MiB; None where the system does not tell (proc(5))."""
    try:
        _size, resident, shared, *_rest = STATM.read_text("ascii").split()
    except OSError:
        return None
    return (int(resident) - int(shared)) * os.sysconf("SC_PAGE_SIZE") / MEBIBYTE


class Growth:
    """Remembers how much memory there was at first."""

    def __init__(self) -> None:
        self.first_mib = own_mib()
        self.since_s = events.steady_seconds()

    def is_much(self) -> bool:
        """Return whether the process has grown so far that a new start is worth its second of work."""
        if self.first_mib is None or events.steady_seconds() - self.since_s < LEAST_SECONDS:
            return False
        return (own_mib() or 0.0) - self.first_mib > MOST_MIB


def begin_anew() -> None:
    """Become the same program again under the same process number; nothing may be under way."""
    sys.stdout.flush()
    sys.stderr.flush()
    os.execv(sys.executable, [sys.executable, *sys.orig_argv[1:]])  # noqa: S606 - its own command line
