"""What is done every day, or every few minutes, by itself, as plain data. Times of day are UTC."""

from __future__ import annotations

from datetime import time

from facility.jobs.queue import Daily, Every, Kind

DAILY: tuple[Daily | Every, ...] = (
    Daily(Kind.VERIFY_RECORDS, at=time(1, 30)),
    Daily(Kind.CHECKPOINT, at=time(1, 45)),
    Daily(Kind.BACKUP, at=time(2, 0)),
    Daily(Kind.TRY_BACKUP, at=time(2, 15), weekday=6),
    Daily(Kind.RENDER_VOLUMES, at=time(2, 45)),
    Daily(Kind.SWEEP, at=time(3, 0)),
    Daily(Kind.TIDY, at=time(2, 30)),
    Every(Kind.WATCH_READINESS, minutes=5),
    Every(Kind.DIGESTS, minutes=10),
    Every(Kind.ESCALATE, minutes=1),
    Every(Kind.WATCH_BOX, minutes=5),
    Every(Kind.SEND_NOTICES, minutes=5),
    Every(Kind.REFRESH_FLEET, minutes=3),
)
