"""What a printed paper says of the log: the newest signed head and its short code, to be compared by eye years later."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from facility.trust import checkpoints

if TYPE_CHECKING:
    from datetime import datetime


@dataclass(frozen=True, slots=True)
class PrintedHead:
    """A signed head as it stands on paper. ``size``: events; ``code``: the first 128 bits of its root."""

    size: int
    at: datetime
    code: str


def newest_head() -> PrintedHead | None:
    """Return the newest signed head, or None before the first one. One query."""
    row = checkpoints.newest()
    return None if row is None else PrintedHead(row.size, row.made_at, checkpoints.short_code(bytes(row.root)))
