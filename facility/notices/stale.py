"""What waited too long: some of it is sent no more, the rest is told in one message, so that no storm follows an outage."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from django.db import connection, transaction
from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _

from facility.models import Delivery, Membership, Notice, NoticeKind, Way
from facility.notices import ending, mail

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from django.db.models import QuerySet

TOGETHER_AFTER: Final = timedelta(hours=6)
"""Notices that waited this long on one way are told in one message; common practice, no source."""
TEST_KEPT: Final = timedelta(hours=1)
HELD_BACK: Final = "held-back:"
MOST_LINES: Final = 60
ALONE: Final = (NoticeKind.DIGEST, NoticeKind.TEST)
"""Kinds that are never told together with others."""


def settle(open_rows: Q, now: datetime) -> None:
    """Give up what need not be sent any more, and put together what waited long. ``open_rows``: not at work elsewhere."""
    for condition, why in _moot(open_rows, now):
        Delivery.objects.filter(open_rows).filter(condition).update(given_up_at=now, lease_until=None, error=why)
    ending.give_up_old(open_rows, at=now)
    old = _old(open_rows, now)
    for way in sorted(set(old.values_list("way", flat=True))):
        _together(way, open_rows, now)


def _moot(open_rows: Q, now: datetime) -> Iterator[tuple[Q, str]]:
    """Yield each reason for which a message is sent no more."""
    if not mail.is_set_up():
        yield Q(way__way=Way.EMAIL), _("No e-mail is set up on this box.")
    yield Q(way__retired_at__isnull=False), _("The way was retired before it could be sent.")
    yield Q(notice__site__retired_at__isnull=False), _("The site was retired before it could be sent.")
    yield _without_access(), _("The account was shut or lost its role before it could be sent.")
    yield Q(notice__acknowledged_at__isnull=False), _("It was acknowledged before it could be sent.")
    yield Q(notice__kind=NoticeKind.TEST, notice__made_at__lt=now - TEST_KEPT), _("A test is not sent late.")
    zones = Delivery.objects.filter(open_rows, notice__kind=NoticeKind.DIGEST)
    for zone in set(zones.values_list("notice__site__zone", flat=True)):
        midnight = datetime.combine(now.astimezone(ZoneInfo(zone)).date(), time(0), ZoneInfo(zone))
        over = Q(notice__kind=NoticeKind.DIGEST, notice__site__zone=zone)
        over &= Q(notice__made_at__lt=min(midnight, now - TOGETHER_AFTER))
        yield over, _("Its day is over; the next digest tells what still holds.")


def _without_access() -> Q:
    roles = Membership.objects.filter(
        user=OuterRef("notice__user"), site=OuterRef("notice__site"), retired_at=None
    )  # fmt: skip
    shut = Q(notice__user__is_active=False)
    return Q(Q(notice__user__isnull=False), shut | Q(~Exists(roles), notice__user__is_superuser=False))


def _old(open_rows: Q, now: datetime) -> QuerySet[Delivery]:
    """Return what waited long and whose last try is known to have failed: what may have arrived is told as it is."""
    known = Q(tries=0) | ~Q(error="")
    rows = Delivery.objects.filter(open_rows & known, notice__made_at__lte=now - TOGETHER_AFTER)
    return rows.exclude(notice__kind__in=ALONE)


@transaction.atomic
def _together(way: int, open_rows: Q, now: datetime) -> None:
    """Tell what waited long on one way in one notice; the single ones are given up and name it."""
    rows = _old(open_rows, now).filter(way=way).select_related("notice__site").order_by("notice__made_at", "pk")
    if connection.features.has_select_for_update_skip_locked:
        rows = rows.select_for_update(skip_locked=True, of=("self",))
    held = list(rows)
    if len(held) < 2:  # noqa: PLR2004  # reason: one is sent as it is
        return
    notice = _one_notice([row.notice for row in held], way)
    Delivery.objects.get_or_create(notice=notice, way_id=way, defaults={"due_at": min(row.due_at for row in held)})
    told = _("Told together with others that waited, in notice %(number)d.") % {"number": notice.pk}
    singles = Delivery.objects.filter(pk__in=[row.pk for row in held])
    singles.exclude(notice=notice).update(given_up_at=now, lease_until=None, error=told)


def _one_notice(held: Sequence[Notice], way: int) -> Notice:
    """Return the notice that tells others; one of its like among them gives its lines, not itself."""
    lines = [line for notice in held for line in _lines(notice)]
    more = len(lines) - MOST_LINES
    body = "\n".join(lines[:MOST_LINES])
    if more > 0:
        body += "\n" + _("and %(n)d more") % {"n": more}
    first, newest = held[0], max(notice.pk for notice in held)
    content = {
        "site": first.site, "user_id": first.user_id, "kind": NoticeKind.BOX, "made_at": held[-1].made_at, "body": body,
        "subject": _("%(n)d notices could not be sent before") % {"n": len(lines)},
        "next_action": _("Look at the site's page first: what was told then may have changed."),
        "link": f"/{first.site.key}/now/",
    }  # fmt: skip
    return Notice.objects.get_or_create(once_key=f"{HELD_BACK}{way}:{newest}:{len(lines)}", defaults=content)[0]


def _lines(notice: Notice) -> list[str]:
    if notice.once_key.startswith(HELD_BACK):
        return notice.body.splitlines()
    at = notice.made_at.astimezone(ZoneInfo(notice.site.zone))
    return [f"{at:%Y-%m-%d %H:%M}  {notice.subject}. {_('Next: %(what)s') % {'what': notice.next_action}}"]
