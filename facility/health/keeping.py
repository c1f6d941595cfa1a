"""The parts on which keeping rests: backups and their copies, notices that must get out, certificate, records."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Final

from django.conf import settings
from django.db.models import Count, Min

from facility.backup import copies, store
from facility.backup.restoring import SETTINGS_FILE
from facility.checks import LAN_WARNING, lan_certificate_end
from facility.counted import counted
from facility.health.part import Part
from facility.models import Delivery, Event
from facility.trust import faults

BACKUP_LATE: Final = timedelta(hours=36)
"""A backup is made every night; common practice, no source."""
COPY_LATE: Final = timedelta(days=7)
"""A stick may be away for some days; common practice, no source."""
YOUNG: Final = timedelta(days=1)
"""A box that is younger has not had its first night; common practice, no source."""
NOTICES_LATE: Final = timedelta(hours=6)
"""A line may be down for some hours; common practice, no source."""


def keeping(at: datetime) -> dict[str, Part]:
    """Look at these parts; two queries at most. Errors: those of the database."""
    return {"backup": backup(at), "notices": notices(*unsent(at)), "certificate": certificate(at), "records": records()}


def backup(at: datetime) -> Part:
    """Return whether the newest backup is fresh and lies elsewhere too. Units: s; places."""
    age, lacking = store.newest_age(at), stale_copies(at)
    measured: dict[str, float | None] = {
        "age_s": None if age is None else age.total_seconds(), "copies_lacking": float(len(copies.lacking())),
    }  # fmt: skip
    if age is None:
        advice = "There is no backup: run `manage.py backup`, and look why none was made at night."
        return Part(is_young(at), measured, advice)
    if age > BACKUP_LATE:
        return Part(
            ok=False, measured=measured, advice="No backup was made last night: look at /box/jobs/ and at the disk."
        )
    advice = f"{counted(lacking, 'place', 'places')} got no copy for {COPY_LATE.days} days: plug in the stick, look at the line, and at /box/backups/."
    return Part(lacking == 0, measured, advice)


def stale_copies(at: datetime) -> int:
    """Return how many places got no backup for long, though there were some to be had."""
    files, known, count = sorted(store.found(store.folder())), copies.known(), 0
    for place in copies.places():
        taken = [made_at for made_at, path in files if copies.TAKEN in known.get(path.name, {}).get(place, {})]
        since = taken[-1] if taken else files[0][0] if files else at
        count += at - since > COPY_LATE
    return count


def is_young(at: datetime) -> bool:
    """Return whether this box, or what was put back into it, has not seen a night yet. One query."""
    restored = settings.DATA_DIR / SETTINGS_FILE
    if restored.is_file() and at - datetime.fromtimestamp(restored.stat().st_mtime, UTC) < YOUNG:
        return True
    first = Event.objects.order_by("seq").values_list("recorded_at", flat=True).first()
    return first is None or at - first < YOUNG


def unsent(at: datetime) -> tuple[int, float]:
    """Return how many messages wait to leave the box, and for how long the oldest. Units: s. One query."""
    waiting = Delivery.objects.filter(sent_at=None, given_up_at=None)
    found = waiting.aggregate(count=Count("pk"), oldest=Min("notice__made_at"))
    oldest = found["oldest"]
    return found["count"], 0.0 if oldest is None else max(0.0, (at - oldest).total_seconds())


def notices(count: int, oldest_s: float) -> Part:
    """Return whether notices get out. Units: s."""
    advice = "Notices do not get out: look at the line, and at each site's log of deliveries."
    return Part(oldest_s <= NOTICES_LATE.total_seconds(), {"unsent": float(count), "oldest_unsent_s": oldest_s}, advice)


def certificate(at: datetime) -> Part:
    """Return whether the certificate of the local network holds, if there is one. Units: days."""
    end = lan_certificate_end()
    if end is None:
        return Part(ok=True, measured={"days_left": None})
    advice = f"The certificate ends on {end:%Y-%m-%d}: run `manage.py lan_certificate` again with the same names."
    return Part(end > at, {"days_left": (end - at).days}, advice, soon=end - at <= LAN_WARNING)


def records() -> Part:
    """Return whether a fault of the log or of the keys stands; what it is stays on the pages of those signed in."""
    count = len(faults.standing())
    advice = "The log contradicts what was signed, or a key is missing: sign in and read what every page says first."
    return Part(count == 0, {"faults": float(count)}, advice)
