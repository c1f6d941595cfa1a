"""queue(): one delivery a way for each notice, whatever their number, and the job that sends them."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Final

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import connection, transaction
from django.utils.translation import gettext as _

from facility import events
from facility.jobs.queue import Kind, enqueue
from facility.models import Delivery, NoticeWay, User, Way
from facility.notices import mail
from facility.notices.masked import masked

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence
    from datetime import datetime

    from facility.models import Notice

    Whose = tuple[int, int | None]  # a site, and an account or None for the site's own ways

BATCH: Final = 1000
BY: Final = events.system("notices")


@transaction.atomic
def queue(notices: Sequence[Notice], *, now: datetime) -> int:
    """Store a delivery for each stored notice on each way of its account, or of its site where it names none.

    An account with an e-mail address that never had a way of its own at the site is given one. Where no
    e-mail can leave the box, a delivery by e-mail is given up at once, with the reason. Called twice with
    the same notices it has no second effect. Return the number of new deliveries.
    """
    if not notices:
        return 0
    ways = _ways(notices)
    done = _queued(notices)
    rows = [
        _row(notice, way, now)
        for notice in notices
        for way in ways[notice.site_id, notice.user_id]
        if (notice.pk, way.pk) not in done
    ]
    Delivery.objects.bulk_create(rows, batch_size=BATCH, ignore_conflicts=True)
    if any(row.given_up_at is None for row in rows):
        enqueue(Kind.SEND_NOTICES, due_at=now)
    return len(rows)


def _row(notice: Notice, way: NoticeWay, now: datetime) -> Delivery:
    row = Delivery(notice=notice, way=way, due_at=now)
    if way.way == Way.EMAIL and not mail.is_set_up():
        row.given_up_at, row.error = now, _("No e-mail is set up on this box.")
    return row


def _queued(notices: Sequence[Notice]) -> set[tuple[int, int]]:
    """Return which notices have a delivery on which way already."""
    found: set[tuple[int, int]] = set()
    for some in _batches([one.pk for one in notices]):
        rows = Delivery.objects.filter(notice__in=some)
        found.update(rows.values_list("notice_id", "way_id"))
    return found


def _batches(pks: Collection[int]) -> Iterator[list[int]]:
    ordered = sorted(pks)
    for start in range(0, len(ordered), BATCH):
        yield ordered[start : start + BATCH]


def _ways(notices: Sequence[Notice]) -> dict[Whose, list[NoticeWay]]:
    """Return the ways in use of everybody who is told something here."""
    sites = {notice.site_id for notice in notices}
    ways = _stored(sites)
    lacking = {(one.site_id, one.user_id) for one in notices if one.user_id} - ways.keys()
    if lacking and mail.is_set_up():
        _one_at_a_time()
        ways = _stored(sites)
        for whose, way in _given(lacking - ways.keys()):
            ways[whose].append(way)
    return defaultdict(list, {whose: [way for way in some if way.is_current] for whose, some in ways.items()})


def _stored(sites: Collection[int]) -> defaultdict[Whose, list[NoticeWay]]:
    """Return every way that ever was at some sites, by whose it is."""
    found: defaultdict[Whose, list[NoticeWay]] = defaultdict(list)
    for some in _batches(sites):
        for way in NoticeWay.objects.filter(site__in=some):
            found[way.site_id, way.user_id].append(way)
    return found


def _one_at_a_time() -> None:
    """Let nobody else give ways until this transaction ends; SQLite has one writer at a time anyway."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [events.APPEND_LOCK])


def _given(lacking: Collection[Whose]) -> list[tuple[Whose, NoticeWay]]:
    """Give each account that has an e-mail address an e-mail way. The event holds no address."""
    at, rows = events.now(), []
    users = _with_address({user for _site, user in lacking if user is not None})
    for site, user in sorted(lacking, key=str):
        if user in users:
            way = NoticeWay(site_id=site, user=users[user], way=Way.EMAIL, address=users[user].email)
            way.recorded_at, way.recorded_by = at, BY.name
            rows.append(way)
    stored = NoticeWay.objects.bulk_create(rows, batch_size=BATCH)
    keys = dict(NoticeWay.objects.filter(site__in={row.site_id for row in rows}).values_list("site_id", "site__key"))
    for way in stored:
        told = {"way": str(way.way), "address": masked(way.way, way.address), "account": str(way.user_id)}
        what = events.What("way of notices given", after=told, site_key=keys[way.site_id])
        events.record(way, what, by=BY)
    return [((way.site_id, way.user_id), way) for way in stored]


def _with_address(pks: Collection[int]) -> dict[int, User]:
    """Return the active accounts among these to whose address an e-mail can be sent."""
    found: dict[int, User] = {}
    for some in _batches(pks):
        rows = User.objects.filter(pk__in=some, is_active=True).exclude(email="")
        found.update({row.pk: row for row in rows if _is_address(row.email)})
    return found


def _is_address(text: str) -> bool:
    try:
        validate_email(text)
    except ValidationError:
        return False
    return True
