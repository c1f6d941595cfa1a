"""Whether an analyser may be believed on a day: in date, not in doubt, under no defect."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils.translation import gettext as _

from facility.fields import day_text
from maintenance.models import Defect, DefectEffect, EquipmentKind, Recall, WorkRecord, WorkResult
from maintenance.upkeep.state import Word, due_states_of

if TYPE_CHECKING:
    from datetime import date, datetime

    from maintenance.models import Equipment
    from maintenance.upkeep.state import DueState


@dataclass(frozen=True, slots=True)
class Fitness:
    """Whether an analyser counts on a day: every reason against it, or until when it is good."""

    faults: tuple[str, ...]
    good_until: date | None = None

    @property
    def counts(self) -> bool:
        """Whether an analysis with it may pass."""
        return not self.faults


def fitness_of(analyser: Equipment | None, at: datetime) -> Fitness:
    """Return whether an analyser may be believed at ``at``; a constant number of queries.

    Without a passed and current calibration or check under a rule of its own it does not count: silence is no pass.
    """
    if analyser is None:
        return Fitness((_("No analyser is named: an analysis without one proves nothing."),))
    day = at.astimezone(ZoneInfo(analyser.site.zone)).date()
    faults: list[str] = []
    if analyser.kind != EquipmentKind.ANALYSER:
        faults.append(_("%s is not an analyser.") % analyser.tag)
    if analyser.retired_at is not None and analyser.retired_at <= at:
        faults.append(_("%s was retired.") % analyser.tag)
    faults += _defects(analyser, at)
    faults += _recalls(analyser, day)
    until, found = _in_date(analyser, day)
    return Fitness((*faults, *found), until)


def _defects(analyser: Equipment, at: datetime) -> list[str]:
    rows = Defect.objects.filter(
        Q(returned_at=None) | Q(returned_at__gt=at), equipment=analyser, retired_at=None, found_at__lte=at
    ).exclude(effect=DefectEffect.WATCH)
    return [_("It is under a defect: tag %(number)04d, %(what)s.") % {"number": one.number, "what": one.what}
            for one in rows]  # fmt: skip


def _recalls(analyser: Equipment, day: date) -> list[str]:
    """Name recalls of the analyser after which it was not calibrated again."""
    recalls = list(Recall.objects.filter(equipment=analyser, retired_at=None, last_good_on__lt=day))
    if not recalls:
        return []
    again = set(
        WorkRecord.objects.filter(equipment=analyser, retired_at=None, result=WorkResult.PASSED, doubted_by=None,
                                  done_on__lte=day).values_list("done_on", flat=True)
    )  # fmt: skip
    return [
        _("It is in doubt since %(day)s: %(why)s.") % {"day": day_text(one.last_good_on), "why": one.why}
        for one in recalls
        if not any(done >= one.found_on for done in again)
    ]


def _in_date(analyser: Equipment, day: date) -> tuple[date | None, list[str]]:
    """Return until when its rules keep it good, and what is against it, as upkeep reckons them for that day."""
    states = [one for one in due_states_of([analyser.pk], analyser.site, day) if one.counts_for_readiness]
    if all(one.word is Word.NOT_ASKED for one in states):
        return None, [_("No rule says how long its calibration is good. Add one to %s.") % analyser.tag]
    ends = [one.good_through for one in states if one.good_through is not None]
    return min(ends, default=None), [fault for one in states if (fault := _fault(one))]


def _fault(state: DueState) -> str:
    """Return what one rule has against it, or nothing."""
    act, newest = state.act, state.newest
    if newest is not None and newest[1] != WorkResult.PASSED:
        return _("%(act)s of %(day)s did not pass.") % {"act": act, "day": day_text(newest[0])}
    if state.word is Word.OVERDUE:
        ended = state.good_through
        return _("%(act)s ran out on %(day)s.") % {"act": act, "day": day_text(ended) if ended else "\u2013"}
    words = {
        Word.NEVER: _("%s: never recorded.") % act,
        Word.IN_DOUBT: _("%s is in doubt: what it rests on turned out bad.") % act,
        Word.SECOND_LOOK: _("%s waits for a second look at its dates.") % act,
    }
    return words.get(state.word, "")
