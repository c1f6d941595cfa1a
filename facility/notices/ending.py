"""How a delivery ends: sent, to be tried again after a growing pause, or given up."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Final

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from facility import events
from facility.models import Delivery, NoticeKind

if TYPE_CHECKING:
    from datetime import datetime

    from django.db.models import Q, QuerySet

    from facility.notices.parcel import SendError

FIRST_PAUSE: Final = timedelta(seconds=30)
LONGEST_PAUSE: Final = timedelta(minutes=15)
KEPT: Final = timedelta(days=3)
"""How long a message waits for the link from when its notice was made; common practice, no source."""
TOO_LATE: Final = gettext_lazy("It could not be sent for %(days)d days.")
MOST_DOUBLINGS: Final = 10
BY: Final = events.system("notices")


def pause_after(tries: int) -> timedelta:
    """Return how long to wait after so many tries.

    >>> [pause_after(tries).seconds for tries in (1, 2, 3, 6, 500)]
    [30, 60, 120, 900, 900]
    """
    doubled: int = 2 ** min(tries - 1, MOST_DOUBLINGS)
    return min(FIRST_PAUSE * doubled, LONGEST_PAUSE)


def sent(row: Delivery, *, at: datetime) -> None:
    """Note that a message went out, also where its lease was lost meanwhile: it did go out."""
    rows = Delivery.objects.filter(pk=row.pk, sent_at=None)
    rows.update(sent_at=at, given_up_at=None, lease_until=None, error="")


def put_back(row: Delivery) -> None:
    """Give back what was taken and not tried."""
    _held(row).update(lease_until=None, tries=row.tries - 1, error=_("It was put off: others took long."))


def postpone(rows: QuerySet[Delivery], tries: int, error: SendError, *, at: datetime) -> None:
    """Put off, without a try of their own, what would fail as another did; what is to be given up is left to its try."""
    young = rows.filter(notice__made_at__gt=at - KEPT)
    young.update(due_at=at + pause_after(tries), error=str(error)[:500])


def _held(row: Delivery) -> QuerySet[Delivery]:
    """Return the row only while this very lease still stands."""
    rows = Delivery.objects.filter(pk=row.pk, tries=row.tries, lease_until=row.lease_until)
    return rows.filter(sent_at=None, given_up_at=None)


def failed(row: Delivery, error: SendError, *, at: datetime) -> None:
    """Note why a message did not go out, and when it is tried again; or that it is given up."""
    words = str(error)[:500]
    if row.notice.kind == NoticeKind.TEST:  # its sender sees at once how it ended
        _held(row).update(given_up_at=at, lease_until=None, error=words)
    elif error.final:
        give_up(row, _("The far side refuses it."), words, at=at)
    elif at - row.notice.made_at >= KEPT:
        give_up(row, TOO_LATE % {"days": KEPT.days}, words, at=at)
    else:
        _held(row).update(due_at=at + pause_after(row.tries), lease_until=None, error=words)


def give_up_old(open_rows: Q, *, at: datetime) -> None:
    """Give up what waited for so long, also where the box was off meanwhile: what was true then is told no more."""
    rows = Delivery.objects.filter(open_rows, notice__made_at__lte=at - KEPT)
    for row in rows.select_related("notice__site", "way"):
        why = TOO_LATE % {"days": KEPT.days}
        give_up(row, why, row.error or str(why), at=at)


@transaction.atomic
def give_up(row: Delivery, why: str, words: str, *, at: datetime) -> None:
    """Give up one message, with an event that holds neither its address nor its text."""
    if _held(row).update(given_up_at=at, lease_until=None, error=words):
        told = {"notice": str(row.notice_id), "kind": str(row.notice.kind), "why": str(why), "tries": str(row.tries)}
        what = events.What("notice given up", after=told, site_key=row.notice.site.key)
        events.record(row.way, what, by=BY)
