"""record(): one event inside the caller's transaction."""

from __future__ import annotations

import json
import secrets
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from django.db import connection, transaction
from django.db.models import Subquery
from django.db.models.functions import Coalesce

from facility import __version__
from facility.compute.chain import GENESIS, chain_digest
from facility.models import Event, Kept

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from django.db.models import QuerySet

APPEND_LOCK = 0x0DEE9
CLOCK_JUMP = timedelta(minutes=5)  # common practice, no source
CLOCK_SLACK = timedelta(minutes=1)
"""By so much a time on record may lie ahead and the clock is still trusted; common practice, no source."""
NAME_LENGTH = 150  # as the columns that hold who recorded something
ACTION_LENGTH = 60
CLOCK_REMEMBERED = 50
"""So many of the newest events tell that the clock was set back: about a day of records; common practice, no source."""
CLOCK_RIGHT = "records:trusted again, the clock is right"
"""The event by which somebody says that the clock, which was ahead, is right again."""
AT_ONCE = 900  # numbers in one question to the database


class EventRefusedError(ValueError):
    """An event that would not say who did what, or that could not be verified later."""


@dataclass(frozen=True, slots=True)
class Actor:
    """Who does it: a signed-in person, or ``system:JOB``. A name longer than its column is cut to it."""

    name: str
    user_id: int | None = None
    role: str = ""
    session: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", self.name[:NAME_LENGTH])


def system(job: str) -> Actor:
    """Return the actor of a job or command."""
    return Actor(name=f"system:{job}")


def now() -> datetime:
    """Return the server's time, the only source of ``recorded_at``."""
    return datetime.now(UTC)


def steady_seconds() -> float:
    """Return seconds of a clock that nobody can set; it counts sleep too where the system can."""
    return time.clock_gettime(getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC))


def latest() -> QuerySet[Event]:
    """Return the newest events, the one of the latest instant first: after the clock was set back the newest is not it.

    Where the clock was ahead and is right again, that passes when so many more are recorded, or when somebody says so
    (``facility.trust.clock``): what was recorded before that counts no longer here.
    """
    newest = Event.objects.order_by("-seq").values("seq")[:CLOCK_REMEMBERED]
    remembered = Event.objects.filter(seq__in=newest)
    said = remembered.filter(action=CLOCK_RIGHT).order_by("-seq").values("seq")[:1]
    return remembered.filter(seq__gte=Coalesce(Subquery(said), 0)).order_by("-recorded_at", "-seq")


def is_late(occurred_at: datetime, recorded_at: datetime, limit_minutes: int) -> bool:
    """Return whether something was entered more than ``limit_minutes`` after it happened."""
    return recorded_at - occurred_at > timedelta(minutes=limit_minutes)


@dataclass(frozen=True, slots=True)
class What:
    """What an event tells beside who and when.

    ``before`` and ``after`` are plain texts by field name; numbers as text with their unit.
    """

    action: str
    reason: str = ""
    before: Mapping[str, str] | None = None
    after: Mapping[str, str] | None = None
    occurred_at: datetime | None = None
    late: bool = False
    site_key: str = ""


class _Clocks:
    """When this process last recorded something, by the settable and by the steady clock."""

    last: tuple[datetime, float] | None = None

    @classmethod
    def jumped(cls, recorded_at: datetime) -> bool:
        """Return whether the settable clock moved differently since the last event; remember this one."""
        steady, last = steady_seconds(), cls.last
        cls.last = (recorded_at, steady)
        if last is None:
            return False
        return abs(recorded_at - last[0] - timedelta(seconds=steady - last[1])) > CLOCK_JUMP


def newest_seq() -> int:
    """Return the number of the newest event, 0 before the first: up to where what is read now was known."""
    return Event.objects.order_by("-seq").values_list("seq", flat=True).first() or 0


def first_events(label: str, ids: Sequence[int]) -> dict[int, int]:
    """Return the number of the first event of each row of one kind that has one."""
    found: dict[int, int] = {}
    for start in range(0, len(ids), AT_ONCE):
        rows = Event.objects.filter(subject_kind=label, subject_id__in=ids[start : start + AT_ONCE])
        told = rows.order_by("-seq").values_list("subject_id", "seq")
        found |= {pk: seq for pk, seq in told if pk is not None}
    return found


def record(subject: Kept | None, what: What, *, by: Actor) -> Event:
    """Append one event. Must run inside the transaction of the change it tells of.

    A clock that runs backwards or jumps does not stop it: the event is stored and marked.
    Calling it twice stores two events: whoever may call twice keeps a key against it.
    Errors: TransactionManagementError outside a transaction; EventRefusedError for a blank
    actor or action, a time without a zone, or a value that is not a text.
    """
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError("An event belongs into the transaction of its change.")
    _refuse_unclear(what, by)
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [APPEND_LOCK])
    last = Event.objects.order_by("-seq").values_list("seq", "digest", "recorded_at").first()
    seq, prev, last_at = (last[0] + 1, bytes(last[1]), last[2]) if last else (1, GENESIS, None)
    recorded_at = now()
    jumped = _Clocks.jumped(recorded_at)
    event = Event(
        seq=seq,
        prev=prev,
        recorded_at=recorded_at,
        action=str(what.action),
        actor=by.name,
        subject_kind=subject._meta.label_lower if subject is not None else "",
        subject_id=subject.pk if subject is not None else None,
        site_id_text=what.site_key,
        reason=str(what.reason)[:1000],
        late=what.late,
        clock_suspect=jumped or (last_at is not None and recorded_at < last_at),
    )
    event.payload = _payload(event, what, by)
    event.digest = chain_digest(prev, event.payload)
    event.save(force_insert=True)
    return event


def _refuse_unclear(what: What, by: Actor) -> None:
    if not by.name.strip():
        raise EventRefusedError("An event needs somebody who did it: the actor's name is blank.")
    if not what.action.strip():
        raise EventRefusedError(f"An event needs an action, such as 'added': {by.name} gave a blank one.")
    if len(what.action) > ACTION_LENGTH:
        raise EventRefusedError(f"The action {what.action!r} has more than {ACTION_LENGTH} letters. Name it shorter.")
    if what.occurred_at is not None and what.occurred_at.utcoffset() is None:
        raise EventRefusedError(f"{what.action}: occurred_at {what.occurred_at} has no time zone. Give it one.")
    _refuse_untrue_texts(what, by)


def _refuse_untrue_texts(what: What, by: Actor) -> None:
    for side, values in (("before", what.before), ("after", what.after)):
        for name, value in (values or {}).items():
            _refuse_untrue_text(f"{what.action}: {side}[{name!r}]", value)
    for side, text in (("reason", what.reason), ("actor", by.name), ("role", by.role)):
        _refuse_untrue_text(f"{what.action}: {side}", str(text))


def _refuse_untrue_text(place: str, value: object) -> None:
    """Refuse what could not be read back exactly: numbers of the machine, half characters, NUL."""
    if not isinstance(value, str):
        raise EventRefusedError(
            f"{place} is {value!r}, a {type(value).__name__}. An event holds texts only:"
            " write a number as it was typed, with its unit."
        )
    if "\0" in value or any("\ud800" <= letter <= "\udfff" for letter in value):
        raise EventRefusedError(f"{place} holds a character that cannot be stored. Type it again without it.")


def _payload(event: Event, what: What, by: Actor) -> str:
    """Return the canonical JSON text of one event; texts only, keys sorted, salted."""
    content = {
        "seq": str(event.seq),
        "recorded_at": event.recorded_at.isoformat(),
        "occurred_at": what.occurred_at.isoformat() if what.occurred_at else "",
        "actor": event.actor,
        "actor_id": str(by.user_id or ""),
        "role": by.role,
        "session": by.session,
        "action": event.action,
        "subject_kind": event.subject_kind,
        "subject_id": "" if event.subject_id is None else str(event.subject_id),
        "site": event.site_id_text,
        "reason": str(what.reason),
        "before": dict(what.before or {}),
        "after": dict(what.after or {}),
        "late": "yes" if event.late else "",
        "clock_suspect": "yes" if event.clock_suspect else "",
        "version": __version__,
        "salt": secrets.token_hex(16),
    }
    return json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
