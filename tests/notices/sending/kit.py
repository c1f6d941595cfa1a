"""What tests of notices share: a clock that is set, and notices ready to be queued."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import count
from typing import TYPE_CHECKING, Any

from facility.models import Delivery, Notice, NoticeKind, NoticeWay
from facility.notices import sending, ways
from facility.notices.deliver import queue
from tests import make

if TYPE_CHECKING:
    from facility.models import Site

#: a Thursday, 13:00 in Oslo
NOON = datetime(2026, 3, 12, 12, 0, tzinfo=UTC)
_numbers = count(1)


class Clock:
    """The time as the box sees it, moved by hand."""

    def __init__(self, now: datetime = NOON) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now

    def pass_by(self, **span: float) -> datetime:
        self.now += timedelta(**span)
        return self.now


def notice(at: Site, **fields: Any) -> Notice:
    """Return a stored notice to the site, made now, unless told otherwise."""
    number = next(_numbers)
    defaults = {
        "site": at, "kind": NoticeKind.READINESS, "once_key": f"kit-{number}", "subject": f"Table {number} is not ready",
        "body": "Bank 1 holds 120 bar; 150 bar are needed.", "next_action": "Fill bank 1.",
        "link": f"/{at.key}/now/", "made_at": NOON,
    }  # fmt: skip
    return Notice.objects.create(**defaults | fields)


def way(at: Site, **fields: Any) -> NoticeWay:
    """Return a stored way of the site, by e-mail unless told otherwise."""
    defaults = {"site": at, "way": "email", "address": "watch@example.org"}
    return ways.add(NoticeWay(**defaults | fields), by=make.BY)


def told(at: Site, **fields: Any) -> Delivery:
    """Queue one notice and return its delivery."""
    made = notice(at, **fields)
    queue([made], now=made.made_at)
    return Delivery.objects.get(notice=made)


def send() -> str:
    """Send what is due, as the job does."""
    return sending.run(str)


def state(row: Delivery) -> Delivery:
    """Return a delivery as it stands now."""
    row.refresh_from_db()
    return row
