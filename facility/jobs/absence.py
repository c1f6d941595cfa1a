"""After a power cut: one event that tells from when to when nobody was there to run jobs.

The newest heartbeat before the gap is all that is left of the time before.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Final

from facility import events
from facility.models import Event, Heartbeat

if TYPE_CHECKING:
    from datetime import datetime

SHORTEST: Final = timedelta(minutes=10)
"""A restart or an upgrade takes less; common practice, no source."""
WAS_OFF: Final = "box:was-off"
BY: Final = events.system("jobs")
RUNNERS: Final = "jobs@"


def note(*, now: datetime) -> Event | None:
    """Store an event if no runner has been seen for long. Return it, or None.

    Belongs into one transaction with the beat that follows: of several runners that start together one notes the gap.
    A newest beat that lies ahead of the clock tells nothing of a gap: the clock was set back, which pages say.
    """
    beats = Heartbeat.objects.filter(name__startswith=RUNNERS)
    list(beats.select_for_update())
    last = beats.order_by("-beat_at").values_list("beat_at", flat=True).first()
    if last is None or now - last <= SHORTEST:
        return None
    return events.record(None, _what(last, now), by=BY)


def _what(last: datetime, now: datetime) -> events.What:
    """Say from when to when, and whether the box itself was at work meanwhile: somebody recorded something."""
    newest = Event.objects.order_by("-seq").values_list("recorded_at", flat=True).first()
    at_work = newest is not None and last + SHORTEST < newest <= now
    what = "The job runner was off, the pages were not" if at_work else "Was off"
    words = f"{what}: from {last:%Y-%m-%d %H:%M} to {now:%Y-%m-%d %H:%M} UTC. Jobs of days that went by are not made up for."
    span = {"from": last.isoformat(timespec="seconds"), "to": now.isoformat(timespec="seconds")}
    return events.What(WAS_OFF, reason=words, after=span | {"recorded_meanwhile": "yes" if at_work else "no"})
