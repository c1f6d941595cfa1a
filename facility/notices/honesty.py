"""Acted on over sent, for each kind of notice of a site: a kind that nobody acts on teaches people not to look."""

from __future__ import annotations

from collections import defaultdict
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db.models import Count

from facility.compute.notices import Heard, worst_of
from facility.models import Notice, NoticeKind
from facility.notices.drafts import NEVER_MUTED, group_of

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from facility.models import Site

BACK = timedelta(days=90)
LEAST_SENT, ENOUGH_PERCENT = 10, 50
"""From how many on a share says something, and below which share a kind is put up; common practice, no source."""


def heard(site: Site, at: datetime) -> list[Heard]:
    """Return each kind of the last 90 days. One that went to many counts once, a digest once for each person.

    Acted on: somebody pressed done, or acknowledged it and the flag that it told of was over within a week.
    """
    rows = Notice.objects.filter(site=site, made_at__gt=at - BACK, made_at__lte=at)
    sent: dict[str, set[str]] = defaultdict(set)
    acted: dict[str, set[str]] = defaultdict(set)
    shared = rows.exclude(kind__in=(NoticeKind.DIGEST, NoticeKind.TEST))
    for kind, key, acted_at in shared.values_list("kind", "once_key", "acted_at").iterator():
        sent[kind].add(group_of(key))
        if acted_at is not None:
            acted[kind].add(group_of(key))
    digests = rows.filter(kind=NoticeKind.DIGEST).aggregate(sent=Count("pk"), acted=Count("acted_at"))
    kinds = [kind for kind in NoticeKind if kind not in (NoticeKind.DIGEST, NoticeKind.TEST)]
    return [
        Heard(NoticeKind.DIGEST, digests["sent"], digests["acted"]),
        *(Heard(kind, len(sent[kind]), len(acted[kind])) for kind in kinds),
    ]


def put_up(rows: Iterable[Heard]) -> Heard | None:
    """Return the kind that is proposed for retirement, if any; nothing is retired by itself."""
    return worst_of((row for row in rows if row.kind not in NEVER_MUTED), LEAST_SENT, ENOUGH_PERCENT)
