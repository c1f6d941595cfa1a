"""Readings on a form: the fields of a sort of work, judged when the form is sent."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as say

from maintenance.compute.readings import Word, is_better
from maintenance.models import WorkResult
from maintenance.working.fields import fields_of
from maintenance.working.judging import Found, Typed, Work, judged
from maintenance.working.kinds import Detail, Look, WorkError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from django.core.exceptions import ValidationError

    from maintenance.compute.counters import Reading as Count
    from maintenance.working.kinds import KindOfWork

SIDES = ("low", "high")


class ReadingForm(forms.Form):
    """A form that asks what a sort of work asks, and proposes the result from what was typed."""

    found: Found | None = None

    def ask(self, kind: KindOfWork, today: date, house: dict[str, Any]) -> None:
        """Add the fields of a sort of work."""
        self.kind, self.today, self.house = kind, today, house
        self.counts: Sequence[Count] = ()
        choices: Any = self.fields
        choices["result"].choices = [("", say("as the readings say")), *WorkResult.choices]
        self.sections: list[tuple[str, str, list[str]]] = []
        for legend, about, made in fields_of(kind):
            self.fields.update(made)
            if not legend and self.sections and not self.sections[-1][0]:
                self.sections[-1][2].extend(made)
            else:
                self.sections.append((legend, about, list(made)))

    def asked(self) -> list[tuple[str, str, list[forms.BoundField]]]:
        """Return legend, what to mind and fields of each group."""
        return [(legend, about, [self[name] for name in names]) for legend, about, names in self.sections]

    def read(self, typed: dict[str, Any], day: tuple[date, bool]) -> None:
        """Judge what was typed and settle the result; what cannot be taken is said beside its field."""
        work = self._typed_work(typed, day)
        if not self.errors:
            self._judge(work, typed)

    def _typed_work(self, typed: dict[str, Any], day: tuple[date, bool]) -> Work:
        readings, looks = {}, {}
        for wanted in self.kind.readings:
            if isinstance(wanted, Look):
                looks[wanted.name] = typed.get(f"r_{wanted.name}", "")
                continue
            found = self._reading(f"r_{wanted.name}", wanted.units[0], typed)
            if found is None and wanted.needed:
                self._miss(f"r_{wanted.name}")
            elif found is not None:
                self._refuse_unit(f"r_{wanted.name}", found.unit, wanted.units)
                self._refuse_old_limits(f"r_{wanted.name}", found)
                readings[wanted.name] = found
        own = [one for number in range(1, self.kind.own_readings + 1) if (one := self._own(f"o_{number}", typed))]
        details = {detail.name: self._detail(detail, typed) for detail in self.kind.details}
        return Work(readings, looks, own, details, day[0], day[1], self.counts, self.house)

    @staticmethod
    def _reading(name: str, unit: str, typed: dict[str, Any]) -> Typed | None:
        value = typed.get(name)
        if value is None and not typed.get(f"{name}_unread"):
            return None
        return Typed(value, typed.get(f"{name}_unit", unit), typed.get(f"{name}_low"), typed.get(f"{name}_high"))

    def _miss(self, name: str) -> None:
        if name not in self.errors:
            self.add_error(name, say("Type the reading, or tick that it could not be read."))

    def _refuse_unit(self, name: str, unit: str, allowed: tuple[str, ...]) -> None:
        if unit not in allowed and f"{name}_unit" not in self.errors:
            self.add_error(f"{name}_unit", say("Choose the unit of the reading."))

    def _refuse_old_limits(self, name: str, found: Typed) -> None:
        """Refuse limits that came from the last record in another unit than the one chosen now."""
        offered = self.initial.get(f"{name}_unit")
        if not offered or offered == found.unit:
            return
        for side in SIDES:
            limit = getattr(found, side)
            if limit is not None and str(limit) == str(self.initial.get(f"{name}_{side}")):
                self.add_error(f"{name}_{side}", say("This limit was in %(old)s. Type it in %(new)s.")
                               % {"old": offered, "new": found.unit})  # fmt: skip

    def _own(self, name: str, typed: dict[str, Any]) -> tuple[str, Typed] | None:
        label = (typed.get(f"{name}_label") or "").strip()
        found = self._reading(name, "", typed)
        if found is None and label:
            self._miss(name)
        if found is not None and not label:
            self.add_error(f"{name}_label", say("Say what was read."))
        return (label, found) if label and found is not None else None

    @staticmethod
    def _detail(detail: Detail, typed: dict[str, Any]) -> Any:
        given = typed.get(f"d_{detail.name}")
        return given.strip() if isinstance(given, str) else given

    def _judge(self, work: Work, typed: dict[str, Any]) -> None:
        try:
            self.found = judged(self.kind, work)
        except WorkError as error:
            self.add_error(self._field_of(error.name), str(error.words))
            return
        self._settle(typed, self.found.proposal)

    def _field_of(self, name: str) -> str | None:
        return next((one for one in (f"r_{name}", f"d_{name}", name.replace("own_", "o_")) if one in self.fields), None)

    def _settle(self, typed: dict[str, Any], proposal: Word | None) -> None:
        said = typed.get("result")
        if not said and proposal is None:
            self.add_error("result", say("No reading was held against a limit: say what came of it."))
        elif not said:
            typed["result"] = str(proposal)
        elif proposal is not None and is_better(Word(said), proposal) and not typed.get("why_better", "").strip():
            self.add_error("why_better", say("The readings say “%(word)s”. Say why it is better, or take their result.")
                           % {"word": WorkResult(proposal).label})  # fmt: skip

    def refuse(self, error: ValidationError) -> None:
        """Show what a service refused, beside the field where the form has it."""
        for name, said in error.message_dict.items() if hasattr(error, "error_dict") else [("", error.messages)]:
            self.add_error({"evidence": "upload"}.get(name, name) if name in {*self.fields, "evidence"} else None, said)
