"""Who was fit on a day: for each of the crew what was on record, said on both sides: then, and now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from facility.compute.instants import instant_of
from facility.models import MedicalOutcome
from facility.readiness.explain_people import lapsed_words, practice_words
from facility.readiness.telling.on_day import Known, day_of, now_known
from facility.readiness.telling.recency import last_practised, recency
from facility.readiness.words import day as day_words
from facility.readiness.words import when

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime

    from facility.models import MedicalFitness, Person, QualificationHeld, Site


@dataclass(frozen=True, slots=True)
class Side:
    """What one side says: a mark, words, and a line below."""

    mark: str
    text: str
    sub: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One matter, as the record knew it then and as it knows it now."""

    what: str
    then: Side
    now: Side

    @property
    def differs(self) -> bool:
        """Whether the record says something else now."""
        return (self.then.mark, self.then.text) != (self.now.mark, self.now.text)


@dataclass(frozen=True, slots=True)
class PersonOn:
    """One person on that day."""

    person: Person
    lines: tuple[Line, ...]


def fit_on(site: Site, on: date) -> list[PersonOn]:
    """Return everybody of whom something was on record for that day, and everybody of today's crew, by name."""
    known = Known(site, day_of(on, site.zone))
    found = [PersonOn(person, tuple(_Telling(known, person).lines())) for person in known.people]
    return [one for one in found if one.person.is_current or any(line.then.mark != "unknown" for line in one.lines)]


class _Telling:
    """Says what was on record of one person."""

    def __init__(self, known: Known, person: Person) -> None:
        self.known, self.person = known, person
        self.day, self.zone = known.day, known.day.zone

    def lines(self) -> Iterator[Line]:
        """Yield qualifications by name, the medical, duty, waits and what was declared."""
        pk = self.person.pk
        held: list[Any] = self.known.held.get(pk, [])
        for kind in sorted({row.kind for row in held}, key=lambda one: one.name):
            rows = [row for row in held if row.kind_id == kind.pk]
            then, now = self.known.then(rows), now_known(rows)
            yield Line(kind.name, self._certificate(then, self.known.looked_by_then), self._certificate(now, _looked))
        matters: tuple[tuple[str, list[Any], Callable[[list[Any]], Side]], ...] = (
            (_("Medical"), self.known.medicals.get(pk, []), self._medical),
            (_("Duty"), self.known.duty.get(pk, []), self._duty),
            (_("Waits after pressure"), self.known.waits.get(pk, []), self._waits),
            (_("Declared"), self.known.declared.get(pk, []), self._declared),
        )
        for what, rows, say in matters:
            yield Line(what, say(self.known.then(rows)), say(now_known(rows)))

    def _certificate(self, rows: list[QualificationHeld], looked: Callable[[QualificationHeld], bool]) -> Side:
        """Say the best certificate of a kind: looked at twice first, then the later end."""
        if not rows:
            return Side("unknown", _("nothing on record"))
        best = max(rows, key=lambda row: (looked(row), row.expires_on or date.max, row.pk))
        mark, text = self._good_through(best.expires_on)
        sub = self._since(best)
        if best.kind.recency_days is not None:
            runs, drills = self.known.runs.get(self.person.pk, []), self.known.drills.get(self.person.pk, [])
            last = last_practised(best.kind.key, runs, drills, self.zone)
            found = recency(best.kind.recency_days, best.issued_on, last)
            over = found.good_through < self.day.on
            mark, said = ("over", lapsed_words) if over else (mark, practice_words)
            text = f"{text}; {said(best.kind.name, found)}"
        if not looked(best):
            return Side("second", _("%(text)s; waiting for a second look, did not count") % {"text": text}, sub)
        return Side(mark, text, sub)

    def _good_through(self, last: date | None) -> tuple[str, str]:
        if last is None:
            return "indate", _("held, no end")
        if last < self.day.on:
            return "over", _("ended %(day)s") % {"day": day_words(last)}
        return "indate", _("good through %(day)s") % {"day": day_words(last)}

    def _since(self, row: Any) -> str:
        """Say when a statement was recorded, if that was after the day."""
        at = self.known.recorded_at(row)
        if at < self.day.end:
            return ""
        return _("recorded only on %(at)s by %(who)s") % {"at": self._when(at), "who": row.recorded_by}

    def _newest(self, rows: list[Any]) -> str:
        """Say when the newest of some statements was recorded, if that was after the day."""
        return self._since(max(rows, key=self.known.recorded_at))

    def _when(self, at: datetime) -> str:
        return when(instant_of(at), self.zone)

    def _medical(self, rows: list[MedicalFitness]) -> Side:
        if not rows:
            return Side("unknown", _("nothing on record"))
        newest = max(rows, key=lambda row: (row.examined_on, row.pk))
        mark, text = self._good_through(newest.good_until)
        if newest.outcome == MedicalOutcome.UNFIT:
            mark = "over"
        elif newest.outcome == MedicalOutcome.LIMITED and mark == "indate":
            mark = "limits"
        said = {"outcome": newest.get_outcome_display(), "text": text, "day": day_words(newest.examined_on)}
        return Side(mark, _("%(outcome)s, examined %(day)s, %(text)s") % said, self._since(newest))

    def _duty(self, rows: list[Any]) -> Side:
        if not rows:
            return Side("unknown", _("no duty on record"))
        return Side(
            "indate",
            "; ".join(self._span(row) + (_(", on call") if row.on_call else "") for row in rows),
            self._newest(rows),
        )

    def _waits(self, rows: list[Any]) -> Side:
        if not rows:
            return Side("", _("none on record"))
        return Side("open", "; ".join(self._span(row) for row in rows), self._newest(rows))

    def _span(self, row: Any) -> str:
        return _("%(start)s to %(end)s") % {"start": self._when(row.starts_at), "end": self._when(row.ends_at)}

    def _declared(self, rows: list[Any]) -> Side:
        if not rows:
            return Side("", _("nothing declared"))
        said = [
            (_("fit, %(at)s") if row.fit else _("not fit, %(at)s")) % {"at": self._when(row.declared_at)}
            for row in rows
        ]
        return Side("indate" if rows[-1].fit else "over", "; ".join(said), self._newest(rows))


def _looked(row: QualificationHeld) -> bool:
    return bool(row.second_look_by)
