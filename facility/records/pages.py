"""What the list and the page of a record show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.utils.http import urlencode
from django.utils.text import capfirst

from facility.history import timeline
from facility.models import CheckSheet, Entry
from facility.records.kinds import BY_MODEL, BY_SLUG, RecordKind
from facility.shown import Shown, all_of, label_of, of_path, page_number
from maintenance.models import Equipment, GasBank
from treatments.models import NeedMember

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.db.models import QuerySet
    from django.http import QueryDict

    from facility.access import Visit
    from facility.models import Kept
    from facility.records.states import Moment, State

PAGE = 50
NEWEST = 6


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a list: its values, its state, and where its page is."""

    row: Kept
    title: str
    cells: tuple[Shown, ...]
    state: State | None
    slug: str


@dataclass(frozen=True, slots=True)
class Hanging:
    """Records of one kind that hang on the one shown: the first few, and where the rest is."""

    kind: RecordKind
    title: str
    lines: tuple[Line, ...]
    more: bool
    query: str
    may_add: bool


def title_of(kind: RecordKind, row: Kept, moment: Moment) -> str:
    """Return the name of a row, its times in the site's zone."""
    return ", ".join(of_path(row, path, moment.zone).text for path in kind.title) or str(row)


def lines_of(
    kind: RecordKind, rows: Sequence[Kept], moment: Moment, *, columns: tuple[str, ...] = ()
) -> tuple[Line, ...]:
    """Return the lines of some rows; the states take the same few queries however many there are."""
    states = kind.say(rows, moment) if kind.say and rows else {}
    return tuple(
        Line(
            row, title_of(kind, row, moment),
            tuple(of_path(row, path, moment.zone) for path in columns or kind.columns), states.get(row.pk), kind.slug,
        )
        for row in rows
    )  # fmt: skip


def resting_on(row: Kept) -> list[str]:
    """Return the names of the needs that a row is a member of; they are worse off without it."""
    fields = {Equipment: "equipment", GasBank: "bank", CheckSheet: "sheet"}
    field = fields.get(type(row))
    if field is None:
        return []
    members = NeedMember.objects.filter(**{field: row.pk}, retired_at=None, need__retired_at=None)
    return [str(name) for name in members.order_by("need__key").values_list("need__name", flat=True)]


def list_context(query: QueryDict, kind: RecordKind, rows: QuerySet[Any], moment: Moment) -> dict[str, Any]:
    """Return one page of a list. One row more is fetched to know whether there is another page."""
    number = page_number(query.get("page"))
    first = (number - 1) * PAGE
    found = list(rows.order_by(*kind.order)[first : first + PAGE + 1])
    kept = {name: str(value) for name, value in query.items() if name != "page" and value}
    return {
        "lines": lines_of(kind, found[:PAGE], moment),
        "labels": [label_of(kind.model, path) for path in kind.columns],
        "words": query.get("q", ""),
        "past_too": query.get("all") == "1",
        "narrowed": {name: value for name, value in kept.items() if name in kind.parents},
        "toggle": urlencode({**kept, "all": "" if query.get("all") == "1" else "1"}),
        "before": urlencode(kept | {"page": str(number - 1)}) if number > 1 else "",
        "after": urlencode(kept | {"page": str(number + 1)}) if len(found) > PAGE else "",
        "number": number,
    }  # fmt: skip


def _linked(value: Shown) -> tuple[Shown, str]:
    kind = BY_MODEL.get(type(value.row)) if value.row is not None else None
    return value, kind.slug if kind else ""


def detail_context(kind: RecordKind, row: Any, moment: Moment, visit: Visit) -> dict[str, Any]:
    """Return what the page of one record shows."""
    states = kind.say([row], moment) if kind.say else {}
    return {
        "row": row,
        "title": title_of(kind, row, moment),
        "values": [_linked(value) for value in all_of(row, kind.fields, moment.zone)],
        "state": states.get(row.pk),
        "history": timeline(row, moment.zone),
        "next_row": getattr(row, "superseded_by", None) if isinstance(row, Entry) else None,
        "hanging": [_hanging(slug, field, row, moment, visit) for slug, field in kind.related],
        "evidence": getattr(row, kind.upload) if kind.upload else None,
    }


def _hanging(slug: str, field: str, row: Kept, moment: Moment, visit: Visit) -> Hanging:
    kind = BY_SLUG[slug]
    rows = kind.rows(visit.site).filter(**{field: row.pk}, retired_at=None)
    found = list(rows.order_by(*kind.order)[: NEWEST + 1])
    lines = lines_of(kind, found[:NEWEST], moment, columns=kind.brief or kind.columns)
    return Hanging(
        kind, capfirst(str(kind.many)), lines, len(found) > NEWEST, urlencode({field: row.pk}), visit.may(kind.act)
    )
