"""Storing notices: each copy once, whatever runs twice; nothing of a kind that somebody muted."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING, Final

from django.db import transaction

from facility.models import Notice, NoticeKind, NoticeMute
from facility.notices import deliver
from facility.notices.parcel import one_line

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

BATCH: Final = 1000
SITE: Final = "site"
NEVER_MUTED: Final = frozenset({NoticeKind.CALL_OUT, NoticeKind.UNANSWERED})
"""Kinds on which somebody's help may hang."""
SUBJECT, ACTION = 200, 300


@dataclass(frozen=True, slots=True)
class Draft:
    """What is to be told, in words; ``group`` names it once and for all, each copy adds for whom it is."""

    site_id: int
    kind: NoticeKind
    group: str
    subject: str
    body: str
    next_action: str
    link: str = ""
    things: tuple[str, ...] = ()
    answer_by: datetime | None = None
    raised_from: int | None = None

    def key(self, user_id: int | None) -> str:
        """Return the key of one copy; None is the site's own."""
        return f"{self.group}:{SITE if user_id is None else user_id}"


def group_of(once_key: str) -> str:
    """Return what the copies of one notice have in common.

    >>> group_of("readiness:12:site")
    'readiness:12'
    """
    return once_key.rpartition(":")[0]


def store(copies: Iterable[tuple[Draft, int | None]], *, now: datetime) -> int:
    """Store the copies that are not stored yet and queue them on their ways. Return how many were new."""
    left, new = iter(copies), 0
    while some := list(islice(left, BATCH)):
        new += _store(some, now)
    return new


@transaction.atomic
def _store(copies: list[tuple[Draft, int | None]], now: datetime) -> int:
    keys = [draft.key(user_id) for draft, user_id in copies]
    stored = set(Notice.objects.filter(once_key__in=keys).values_list("once_key", flat=True))
    muted = _muted(copies)
    rows = [
        _row(draft, user_id, now)
        for (draft, user_id), key in zip(copies, keys, strict=True)
        if key not in stored and (draft.site_id, user_id, draft.kind) not in muted
    ]
    made = Notice.objects.bulk_create(rows, batch_size=BATCH)
    deliver.queue(made, now=now)
    return len(made)


def _muted(copies: list[tuple[Draft, int | None]]) -> set[tuple[int, int | None, str]]:
    """Return who muted what, for kinds that may be muted."""
    sites = {draft.site_id for draft, _user in copies}
    rows = NoticeMute.objects.filter(site__in=sites, retired_at=None).exclude(kind__in=NEVER_MUTED)
    return set(rows.values_list("site_id", "user_id", "kind"))


def _row(draft: Draft, user_id: int | None, now: datetime) -> Notice:
    return Notice(
        site_id=draft.site_id, user_id=user_id, kind=draft.kind, once_key=draft.key(user_id),
        subject=_cut(one_line(draft.subject), SUBJECT), body=draft.body, next_action=_cut(draft.next_action, ACTION),
        link=draft.link, things=list(draft.things), made_at=now, answer_by=draft.answer_by,
        raised_from_id=draft.raised_from,
    )  # fmt: skip


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"
