"""The digests of one person from several sites go out as one message: a day has one calm one, not one a site."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from django.db.models import Q
from django.utils.translation import gettext as _

from facility.counted import counted
from facility.models import NoticeKind, Way
from facility.notices.parcel import full_link, packed, with_links

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable, Sequence

    from facility.models import Delivery, Notice
    from facility.notices.parcel import Parcel

#: a webhook is read by a program and signed with a secret of each site: it gets each digest by itself
MAY_JOIN = Q(notice__kind=NoticeKind.DIGEST, notice__user__isnull=False) & ~Q(way__way=Way.WEBHOOK)


def may_join(row: Delivery) -> bool:
    """Return whether a delivery may go out in one message with others; as MAY_JOIN says of rows."""
    return row.notice.kind == NoticeKind.DIGEST and row.notice.user_id is not None and row.way.way != Way.WEBHOOK


def load_of(row: Delivery) -> Hashable:
    """Return what deliveries that go out as one have in common. Their tries are the same, so that none joins later."""
    if not may_join(row):
        return row.pk
    return row.notice.user_id, row.way.way, row.way.address, row.way.secret, row.tries


def loads(rows: Iterable[Delivery]) -> list[list[Delivery]]:
    """Return deliveries by message, in the order in which the first of each stands."""
    found: dict[Hashable, list[Delivery]] = defaultdict(list)
    for row in rows:
        found[load_of(row)].append(row)
    return list(found.values())


def parcel_of(load: Sequence[Delivery], box: str) -> Parcel:
    """Return what one message carries: sites where something stands come first, the others are told in a line.

    It has the name of the oldest of its deliveries: the same ones have the same name at each try.
    """
    parcel = packed(min(load, key=lambda row: row.pk), box)
    if len(load) == 1:
        return parcel
    notices = sorted((row.notice for row in load), key=lambda one: (not one.things, one.site.name))
    first = packed(next(row for row in load if row.notice == notices[0]), box)
    subject = _("%(first)s; and %(more)s") % {
        "first": first.subject, "more": counted(len(load) - 1, "more site", "more sites"),
    }  # fmt: skip
    body = "\n\n".join(_of_site(one) for one in notices)
    action = f"{first.site_name}: {first.next_action}"
    return replace(first, name=parcel.name, subject=subject, next_action=action, body=body)


def _of_site(one: Notice) -> str:
    head = f"{one.site.name}: {one.subject} {full_link(one.link)}"
    return f"{head}\n\n{with_links(one.body, one.site.key)}" if one.things else head
