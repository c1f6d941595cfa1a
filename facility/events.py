"""record(): one event inside the caller's transaction."""

from __future__ import annotations

import json
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from django.db import connection, transaction

from facility import __version__
from facility.compute.chain import GENESIS, chain_digest
from facility.models import Event, Kept

if TYPE_CHECKING:
    from collections.abc import Mapping

APPEND_LOCK = 0x0DEE9


@dataclass(frozen=True, slots=True)
class Actor:
    """Who does it: a signed-in person, or ``system:JOB``."""

    name: str
    user_id: int | None = None
    role: str = ""
    session: str = ""


def system(job: str) -> Actor:
    """Return the actor of a job or command."""
    return Actor(name=f"system:{job}")


def now() -> datetime:
    """Return the server's time, the only source of ``recorded_at``."""
    return datetime.now(UTC)


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


def record(subject: Kept | None, what: What, *, by: Actor) -> Event:
    """Append one event. Must run inside the transaction of the change it tells of.

    Errors: TransactionManagementError outside a transaction.
    """
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError("An event belongs into the transaction of its change.")
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [APPEND_LOCK])
    last = Event.objects.order_by("-seq").values_list("seq", "digest", "recorded_at").first()
    seq, prev, last_at = (last[0] + 1, bytes(last[1]), last[2]) if last else (1, GENESIS, None)
    recorded_at = now()
    suspect = last_at is not None and recorded_at < last_at
    payload = _payload(seq, recorded_at, subject, what, by)
    return Event.objects.create(
        seq=seq,
        payload=payload,
        prev=prev,
        digest=chain_digest(prev, payload),
        recorded_at=recorded_at,
        action=what.action,
        actor=by.name,
        subject_kind=subject._meta.label_lower if subject is not None else "",
        subject_id=subject.pk if subject is not None else None,
        site_id_text=what.site_key,
        reason=what.reason[:1000],
        late=what.late,
        clock_suspect=suspect,
    )


def _payload(seq: int, recorded_at: datetime, subject: Kept | None, what: What, by: Actor) -> str:
    """Return the canonical JSON text of one event; texts only, keys sorted, salted."""
    content = {
        "seq": str(seq),
        "recorded_at": recorded_at.isoformat(),
        "occurred_at": what.occurred_at.isoformat() if what.occurred_at else "",
        "actor": by.name,
        "actor_id": str(by.user_id or ""),
        "role": by.role,
        "session": by.session,
        "action": what.action,
        "subject_kind": subject._meta.label_lower if subject is not None else "",
        "subject_id": str(subject.pk) if subject is not None else "",
        "site": what.site_key,
        "reason": what.reason,
        "before": dict(what.before or {}),
        "after": dict(what.after or {}),
        "late": "yes" if what.late else "",
        "version": __version__,
        "salt": secrets.token_hex(16),
    }
    return json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
