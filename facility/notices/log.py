"""What was sent to whom, when, after how many tries; and the lines of ways and deliveries as pages show them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from django.db.models import Count, Max, Q
from django.utils.translation import gettext as _

from facility.models import Delivery, NoticeWay, Way
from facility.notices import mail
from facility.notices.masked import masked

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from django.db.models import QuerySet

    from facility.models import Site, User

SHOWN: Final = 100


@dataclass(frozen=True, slots=True)
class Line:
    """A way and how it fared: the newest message that went out, and how many wait."""

    row: NoticeWay
    address: str
    mark: str
    sent_at: datetime | None
    waiting: int
    error: str


@dataclass(frozen=True, slots=True)
class Entry:
    """A delivery as the log shows it; ``whom`` is the account's name, or nothing for the site's own ways."""

    row: Delivery
    address: str
    mark: str
    state: str


def ways_of(site: Site, user: User | None, *, whole: bool) -> list[Line]:
    """Return the ways of an account, or of the site where none is named; ``whole``: with the whole address."""
    rows = NoticeWay.objects.filter(site=site, user=user).order_by("-retired_at", "pk")
    open_ones = Q(deliveries__sent_at=None, deliveries__given_up_at=None, deliveries__isnull=False)
    rows = rows.annotate(last_at=Max("deliveries__sent_at"), waiting=Count("deliveries", filter=open_ones))
    found = list(rows)
    errors = _errors(found)
    return [_line(row, errors.get(row.pk, ""), whole=whole) for row in found]


def _errors(rows: Sequence[NoticeWay]) -> dict[int, str]:
    """Return the error of the newest message of each way whose newest message did not go out."""
    newest = Delivery.objects.filter(way__in=rows).values("way").annotate(newest=Max("pk")).values("newest")
    return dict(Delivery.objects.filter(pk__in=newest, sent_at=None).values_list("way_id", "error"))


def _line(row: NoticeWay, error: str, *, whole: bool) -> Line:
    last_at, waiting = getattr(row, "last_at", None), getattr(row, "waiting", 0)
    address = row.address if whole else masked(row.way, row.address)
    dead = row.way == Way.EMAIL and not mail.is_set_up()
    mark = "open" if row.retired_at or (last_at is None and not error) else "over" if error or dead else "indate"
    return Line(row, address, mark, last_at, waiting, error)


def entries(site: Site, user: User | None, *, now: datetime) -> list[Entry]:
    """Return the newest deliveries of a site; of one account, if it is named."""
    rows: QuerySet[Delivery] = Delivery.objects.filter(notice__site=site)
    if user is not None:
        rows = rows.filter(notice__user=user)
    rows = rows.select_related("notice__user", "way").order_by("-pk")
    return [_entry(row, now) for row in rows[:SHOWN]]


def _entry(row: Delivery, now: datetime) -> Entry:
    if row.sent_at is not None:
        mark, state = "indate", _("sent")
    elif row.given_up_at is not None:
        mark, state = "stop", _("not sent")
    elif row.lease_until is not None and row.lease_until > now:
        mark, state = "open", _("being sent")
    else:
        mark, state = "over" if row.error else "open", _("waits")
    return Entry(row, masked(row.way.way, row.way.address), mark, state)
