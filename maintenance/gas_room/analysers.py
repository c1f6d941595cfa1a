"""Whether an analyser may be believed on a day: in date, not in doubt, under no defect."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils.translation import gettext as _

from facility.fields import day_text
from maintenance.compute.intervals import next_due
from maintenance.models import Defect, DefectEffect, EquipmentKind, Recall, WorkRecord, WorkResult

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, datetime

    from maintenance.models import Equipment, IntervalRule


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
    rules = list(analyser.rules.filter(retired_at=None, counts=True))
    work = list(
        WorkRecord.objects.filter(equipment=analyser, retired_at=None, done_on__lte=day).order_by("-done_on", "-id")
    )
    if not rules:
        return None, [_("No rule says how long its calibration is good. Add one to %s.") % analyser.tag]
    ends: list[date] = []
    faults: list[str] = []
    for rule in rules:
        end, fault = _under_rule(rule, [one for one in work if one.rule_id == rule.pk])
        if fault:
            faults.append(fault)
        elif end is not None:
            ends.append(end)
            if end < day:
                faults.append(_("%(act)s ran out on %(day)s.") % {"act": rule.name, "day": day_text(end)})
    return min(ends, default=None), faults


def _under_rule(rule: IntervalRule, work: Iterable[Any]) -> tuple[date | None, str]:
    newest = next(iter(work), None)
    if newest is None:
        return None, _("%s: never recorded.") % rule.name
    said = {"act": rule.name, "day": day_text(newest.done_on)}
    if newest.doubted_by_id is not None:
        return None, _("%(act)s of %(day)s is in doubt: what it rests on turned out bad.") % said
    if newest.needs_second_look:
        return None, _("%(act)s of %(day)s waits for a second look at its dates.") % said
    if newest.result != WorkResult.PASSED:
        return None, _("%(act)s of %(day)s did not pass.") % said
    if newest.due_on is not None:
        return newest.due_on, ""
    if not (rule.months or rule.days):
        return None, ""
    return next_due(newest.done_on, months=rule.months, days=rule.days), ""
