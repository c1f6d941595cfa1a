"""A marker file that tells, at the next start, whether the last stop was clean."""

from __future__ import annotations

import json
import os
from pathlib import Path

from django.conf import settings

from facility.events import now


def marker() -> Path:
    """Return where the marker stands."""
    return Path(settings.DATA_DIR) / "running.json"


def was_unclean() -> bool:
    """Return whether the marker of an earlier run is still there. Ask before mark_running()."""
    return marker().exists()


def mark_running() -> None:
    """Leave the marker; it survives a crash and a power cut."""
    path = marker()
    path.parent.mkdir(parents=True, exist_ok=True)
    text = json.dumps({"process": os.getpid(), "started_at": now().isoformat()})
    with path.open("w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def mark_stopped() -> None:
    """Take the marker away after a clean stop, unless another process left it."""
    try:
        left = json.loads(marker().read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return
    if isinstance(left, dict) and left.get("process") == os.getpid():
        marker().unlink(missing_ok=True)
