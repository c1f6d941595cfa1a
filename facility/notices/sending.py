"""Sends what is due, one batch after the other, and notes how each message ended.

A batch is taken under a lease and stored before the network is used. A process that falls in the middle
leaves the lease behind; when it has run out, the message is sent again under the same name, by which the
far side knows a second copy.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, Final

from django.db import connection, transaction
from django.db.models import Case, Min, Q, When
from django.utils.translation import gettext as _

from facility import events
from facility.jobs.queue import Kind, enqueue
from facility.models import Delivery, NoticeKind, Way
from facility.notices import ending, mail, push, stale, together, webhook
from facility.notices.parcel import Parcel, SendError
from facility.trust.keys import box_name

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from django.db.models import QuerySet

log = logging.getLogger(__name__)

BATCH: Final = 20
LEASE: Final = timedelta(minutes=10)
"""A turn, and with it a batch, goes on for far less, also with a message whose far side hangs at its end."""
CLOCK_SLACK: Final = timedelta(minutes=10)
LONGEST_TURN_S: Final = 60.0
"""A run ends after this time, and another job goes on: a call-out does not wait for far sides that hang."""
FIRST: Final = Case(When(notice__kind=NoticeKind.CALL_OUT, then=0), default=1)
"""What goes out before everything else."""


@dataclass
class Turn:
    """One run of the job: when it ends, the open line to the mail server, and the far sides found not to answer."""

    box: str
    say: Callable[[str], object]
    last_s: float = field(default_factory=lambda: events.steady_seconds() + LONGEST_TURN_S)
    line: mail.Line = field(default_factory=mail.Line)
    down: dict[str, str] = field(default_factory=dict)
    sent: int = 0
    failed: int = 0

    @property
    def is_over(self) -> bool:
        """Whether its time has run out."""
        return events.steady_seconds() >= self.last_s


def run(say: Callable[[str], object]) -> str:
    """Send everything that is due; store the job that goes on with what then waits. Return one sentence."""
    turn = Turn(box_name(), say)
    try:
        stale.settle(open_rows(events.now()), events.now())
        while not turn.is_over and (rows := take(events.now())):
            _send_all(rows, turn)
            say(_("%(sent)d sent, %(failed)d not.") % {"sent": turn.sent, "failed": turn.failed})
    finally:
        turn.line.close()
    left = go_on(events.now())
    return _("%(sent)d sent, %(failed)d could not be sent now, %(left)d still waiting.") % {
        "sent": turn.sent, "failed": turn.failed, "left": left,
    }  # fmt: skip


def _send_all(rows: Sequence[Delivery], turn: Turn) -> None:
    """Send a batch; what there is no time for any more is given back."""
    for load in together.loads(rows):
        if turn.is_over:
            for row in load:
                ending.put_back(row)
        else:
            send(load, turn)


def open_rows(now: datetime) -> Q:
    """Return the condition of a delivery that is neither done nor at work elsewhere.

    A lease that ends far too late is of before the clock was set back.
    """
    free = Q(lease_until=None) | Q(lease_until__lte=now) | Q(lease_until__gt=now + LEASE + CLOCK_SLACK)
    return free & Q(sent_at=None, given_up_at=None)


def due(now: datetime) -> Q:
    """Return the condition of a delivery that is to be sent now; see open_rows() for the clock set back."""
    return open_rows(now) & (Q(due_at__lte=now) | Q(due_at__gt=now + ending.LONGEST_PAUSE + CLOCK_SLACK))


@transaction.atomic
def take(now: datetime) -> list[Delivery]:
    """Take the next batch under a lease, with what goes out in one message with it. Nobody else gets it until then."""
    rows = Delivery.objects.filter(due(now)).order_by(FIRST, "due_at", "pk")
    rows = rows.select_related("notice__site", "notice__user", "way")
    if connection.features.has_select_for_update_skip_locked:
        rows = rows.select_for_update(skip_locked=True, of=("self",))
    taken = list(rows[:BATCH])
    taken += _beside(taken, rows)
    for row in taken:
        row.lease_until, row.tries, row.error = now + LEASE, row.tries + 1, ""
        row.save(update_fields=["lease_until", "tries", "error"])
    return taken


def _beside(taken: Sequence[Delivery], rows: QuerySet[Delivery]) -> list[Delivery]:
    """Return what is due too and goes out in one message with what was taken."""
    people = {row.notice.user_id for row in taken if together.may_join(row)}
    if not people:
        return []
    wanted = {together.load_of(row) for row in taken}
    found = rows.filter(together.MAY_JOIN, notice__user__in=people).exclude(pk__in=[row.pk for row in taken])
    return [row for row in found if together.load_of(row) in wanted]


def send(load: Sequence[Delivery], turn: Turn) -> SendError | None:
    """Send one message that was taken, and store how it ended. Return what went wrong, if anything did."""
    row = load[0]
    parcel, target = together.parcel_of(load, turn.box), target_of(row)
    try:
        if target in turn.down:
            raise SendError(turn.down[target], link_down=True)  # noqa: TRY301  # reason: ends as a failed try does
        _hand_over(row, parcel, turn)
    except SendError as error:
        turn.failed += len(load)
        for one in load:
            ending.failed(one, error, at=events.now())
        if error.link_down and target not in turn.down:
            turn.down[target] = str(error)
            ending.postpone(_like(row), row.tries, error, at=events.now())
        return error
    turn.sent += len(load)
    for one in load:
        ending.sent(one, at=events.now())
    return None


def target_of(row: Delivery) -> str:
    """Return what messages have in common that fail together: the mail server, or the way."""
    return "email" if row.way.way == Way.EMAIL else f"way {row.way_id}"


def _like(row: Delivery) -> QuerySet[Delivery]:
    """Return what else is due and would fail with this one."""
    same = Q(way__way=Way.EMAIL) if row.way.way == Way.EMAIL else Q(way=row.way_id)
    return Delivery.objects.filter(due(events.now()) & same)


def _hand_over(row: Delivery, parcel: Parcel, turn: Turn) -> None:
    send = {Way.EMAIL: turn.line.send, Way.WEBHOOK: webhook.send, Way.PUSH: push.send}[Way(parcel.way)]
    try:
        send(parcel)
    except SendError:
        raise
    except Exception as error:  # reason: one message that cannot be made must not hold up all others
        kind = type(error).__name__
        log.error("Delivery %s could not be made: %s", parcel.name, kind)  # noqa: TRY400  # its words may hold a token
        raise SendError(_("The message could not be made: %(kind)s.") % {"kind": kind}) from error


def go_on(now: datetime) -> int:
    """Store the job that sends what waits, when the first of it is due. Return how many wait."""
    rows = Delivery.objects.filter(sent_at=None, given_up_at=None)
    left = rows.count()
    if left:
        first = rows.aggregate(first=Min("due_at"))["first"]
        at = max(first or now, now + timedelta(seconds=1))
        enqueue(Kind.SEND_NOTICES, due_at=at, once_key=f"{Kind.SEND_NOTICES}:{at:%Y-%m-%dT%H:%M:%S}")
    return left
