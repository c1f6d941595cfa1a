"""What a report says of the log itself: how many entries, and each that was late, corrected, taken back or doubtful in time."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Any

from django.apps import apps
from django.db.models import Count, Max, Min, Q, QuerySet
from django.utils.translation import gettext as _

from facility.event_words import who
from facility.models import Event
from facility.report.scope import event_word
from facility.report.shape import Cell, Table

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.report.scope import Frame

#: most rows of a list that opens the report; the rest stands in the volumes of the months
MOST_OPENING = 40
#: the action of records that were taken in from files: a box that is new somewhere takes in years at once
FROM_FILES = "imported"
#: of a day without an hour
NOON = time(12)
CORRECTED = ("corrected", "superseded")
VOIDED = ("retired", "voided", "given up")
#: kinds of which a reason cannot speak of a person's health
REASONS_OF = (
    "maintenance.",
    "facility.check",
    "facility.answer",
    "facility.sheetversion",
    "facility.houserule",
    "facility.checksheet",
)


@dataclass(frozen=True, slots=True)
class Tally:
    """Entries of the log within the days."""

    entries: int
    late: int
    from_files: int
    corrected: int
    voided: int
    first: int
    last: int


def events_of(frame: Frame) -> QuerySet[Event]:
    """Return the events in scope that were recorded within the days."""
    return of_site(frame).filter(**frame.within("recorded_at"))


def of_site(frame: Frame) -> QuerySet[Event]:
    """Return the events of the site about what is in scope, whenever they were recorded."""
    return Event.objects.filter(frame.scope.events, site_id_text=frame.site.key)


def _one_of(words: tuple[str, ...]) -> Q:
    found = Q()
    for word in words:
        found |= Q(action__contains=word)
    return found


def corrected(frame: Frame) -> QuerySet[Event]:
    """Return the events that put something in the place of what was recorded before."""
    return events_of(frame).filter(_one_of(CORRECTED))


def voided(frame: Frame) -> QuerySet[Event]:
    """Return the events after which something no longer counts."""
    return events_of(frame).filter(_one_of(VOIDED))


def late(frame: Frame) -> QuerySet[Event]:
    """Return the events that were recorded later after they happened than the house lets pass, but for files taken in."""
    return events_of(frame).filter(late=True).exclude(action=FROM_FILES)


def late_about(frame: Frame) -> QuerySet[Event]:
    """Return the late events that were recorded within the days, and those about the days that came after them."""
    return late(frame) | of_site(frame).filter(seq__in=list(after(frame, files=False)))


def after(frame: Frame, *, files: bool) -> dict[int, datetime]:
    """Return what was recorded late, after the days, of what happened within them: when, by number; ``files``: of files taken in."""
    rows = of_site(frame).filter(late=True, recorded_at__gte=frame.ends_at)
    rows = rows.filter(action=FROM_FILES) if files else rows.exclude(action=FROM_FILES)
    told = rows.values_list("seq", "payload").iterator(chunk_size=1000)
    found = ((seq, _instant(_occurred(payload), frame)) for seq, payload in told)
    return {seq: at for seq, at in found if at is not None and frame.starts_at <= at < frame.ends_at}


def from_files(frame: Frame) -> QuerySet[Event]:
    """Return the events that are late because they were taken in from files."""
    return events_of(frame).filter(late=True, action=FROM_FILES)


def tally(frame: Frame) -> Tally:
    """Return how many entries there are within the days, all counted in one question to the database."""
    late, files = Q(late=True), Q(action=FROM_FILES)
    counts = (
        Count("seq"), Count("seq", filter=late & ~files), Count("seq", filter=late & files),
        Count("seq", filter=_one_of(CORRECTED)), Count("seq", filter=_one_of(VOIDED)), Min("seq"), Max("seq"),
    )  # fmt: skip
    told = events_of(frame).aggregate(**{f"n{place}": count for place, count in enumerate(counts)})
    return Tally(*(number or 0 for number in told.values()))


def table(frame: Frame, rows: QuerySet[Event], caption: str, most: int | None = MOST_OPENING) -> Table:
    """Return events as a table, the oldest first, at most so many rows; alike ones that follow on each other share one."""
    groups = _groups(rows.order_by("seq").iterator(chunk_size=1000), most)
    cells = tuple(
        (
            Cell(_numbers(group), sub=frame.at(group.first.recorded_at)), Cell(_happened(frame, group)),
            Cell(kind_words(group.first.subject_kind), sub=_(group.first.action)), Cell(_why(group.first)), Cell(who(group.first.actor)),
        )
        for group in groups
    )  # fmt: skip
    head = (_("Entry, recorded"), _("Happened"), _("Of what"), _("Reason given"), _("By"))
    return Table(caption, head, cells, (20, 18, 22, 24, 16), _("None."), tuple(group.count for group in groups))


@dataclass(slots=True)
class _Group:
    """Events of one action on one kind of record by one person for one reason, one after another."""

    first: Event
    last: Event
    count: int = 1

    def takes(self, event: Event) -> bool:
        """Return whether an event goes on from it."""
        return _likeness(event) == _likeness(self.first)


def _likeness(event: Event) -> tuple[str, str, str, str]:
    return event.action, event.subject_kind, event.actor, event.reason


def _groups(rows: Iterable[Event], most: int | None) -> list[_Group]:
    groups: list[_Group] = []
    for one in rows:
        if groups and groups[-1].takes(one):
            groups[-1].last, groups[-1].count = one, groups[-1].count + 1
        elif most is not None and len(groups) == most:
            break
        else:
            groups.append(_Group(one, one))
    return groups


def _numbers(group: _Group) -> str:
    if group.count == 1:
        return event_word(group.first.seq)
    return _("%(count)d entries, %(first)d to %(last)d") % {
        "count": group.count, "first": group.first.seq, "last": group.last.seq}  # fmt: skip


def kind_words(label: str) -> str:
    """Return a kind of record in the reader's language."""
    try:
        return str(apps.get_model(label)._meta.verbose_name) if label else _("the log")
    except LookupError:
        return label


def _happened(frame: Frame, group: _Group) -> str:
    if group.count > 1:
        return _("each at its own time")
    found = _occurred(group.first.payload)
    return frame.at(found) if found is None or isinstance(found, datetime) else frame.day(found)


def _occurred(payload: str) -> datetime | date | None:
    """Return when it happened as the event says, else as the record in it does; a day where the record knows no hour."""
    content: dict[str, Any] = json.loads(payload)
    after: dict[str, str] = content.get("after") or {}
    if text := content.get("occurred_at") or after.get("started_at"):
        return datetime.fromisoformat(text)
    text = after.get("done_on")
    return date.fromisoformat(text) if text else None


def _instant(found: datetime | date | None, frame: Frame) -> datetime | None:
    if found is None or isinstance(found, datetime):
        return found
    return datetime.combine(found, NOON, frame.zone)


def _why(event: Event) -> str:
    if not event.reason:
        return "\u2013"
    return (
        event.reason if event.subject_kind.startswith(REASONS_OF) else _("given; kept back, it may speak of a person")
    )
