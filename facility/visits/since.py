"""What changed since the last pack: counted by kind, and one by one what an inspector asks about first."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from django.db.models import Count, Q

from facility.models import Event, Pack, PackState
from facility.visits.words import kind_words, subject_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from facility.models import Site

MOST = 200
#: what is told one by one: it undid, softened or reopened something
TOLD = Q(action__in=(
    "superseded", "corrected", "retired", "brought back", "times corrected", "waiver granted",
    "waiver granted by telephone", "waiver ended", "waiver countersigned", "house rule set", "rule changed", "recalled",
    "put in doubt", "log entry struck", "finding recorded", "finding answered", "finding closed", "patient erased",
)) | Q(late=True) | Q(clock_suspect=True) | Q(action="flag:overdue")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Told:
    """Neighbouring events that tell the same of rows of one kind: the newest, in words of what, how many, the first's number."""

    event: Event
    subject: str
    count: int
    first: int


@dataclass(frozen=True, slots=True)
class Since:
    """The last pack, the events after it counted by action and kind of row, and those told one by one."""

    pack: Pack | None
    first: int
    total: int
    counts: tuple[tuple[str, str, int], ...]
    told: tuple[Told, ...]
    more: int


def since_last_pack(site: Site) -> Since:
    """Return what the site's log gained after the newest pack that was built; all of it if there was none. Four queries."""
    pack = Pack.objects.filter(site=site, state=PackState.BUILT, log_size__isnull=False).order_by("-number").first()
    first = (pack.log_size or 0) + 1 if pack is not None else 1
    events = Event.objects.filter(site_id_text=site.key, seq__gte=first)
    rows = events.order_by().values_list("action", "subject_kind").annotate(found=Count("seq"))
    counted: Counter[tuple[str, str]] = Counter()
    for action, kind, found in rows:
        counted[action, kind_words(kind)] += found
    counts = tuple((action, kind, found) for (action, kind), found in counted.most_common())
    wanted = events.filter(TOLD).order_by("-seq")
    newest = list(wanted[:MOST])
    more = max(wanted.count() - len(newest), 0) if len(newest) == MOST else 0
    return Since(pack, first, sum(counted.values()), counts, tuple(_together(newest)), more)


def _together(events: Iterable[Event]) -> Iterator[Told]:
    """Yield neighbours that tell the same as one: a log keyed in from paper would hide what stands beside it."""
    for _same, group in groupby(events, key=_said):
        found = list(group)
        newest = found[0]
        subject = subject_words(newest) if len(found) == 1 else kind_words(newest.subject_kind)
        yield Told(newest, subject, len(found), found[-1].seq)


def _said(event: Event) -> tuple[str | bool, ...]:
    return (event.action, event.subject_kind, event.actor, event.reason, event.late, event.clock_suspect)
