"""The checks of one civil day, as a sample that an inspector picks: each step with its answers, and who signed."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db.models import Q

from facility.models import Answer, Check, CheckState, Signature
from facility.visits.services import start_of_day

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from facility.models import Chamber, Site

OUTCOME_MARKS = {"good": "indate", "bad": "stop", "unread": "unread", "not_fitted": "open"}
RESULT_MARKS = {"passed": "indate", "limits": "limits", "unread": "unread", "failed": "stop"}


@dataclass(frozen=True, slots=True)
class StepLine:
    """One step of the sheet with everything that was answered to it; no answer is said too."""

    text: str
    answers: tuple[tuple[str, Answer], ...]


@dataclass(frozen=True, slots=True)
class CheckOfDay:
    """One check: the row, its mark, its steps in walking order, and its signatures."""

    check: Check
    mark: str
    steps: tuple[StepLine, ...]
    signatures: tuple[Signature, ...]


def checks_of(site: Site, chamber: Chamber | None, day: date) -> list[CheckOfDay]:
    """Return the checks that were begun or signed on a civil day of the site, in three queries."""
    start, end = start_of_day(day, site.zone), start_of_day(day + timedelta(days=1), site.zone)
    on_day = Q(started_at__gte=start, started_at__lt=end) | Q(signed_at__gte=start, signed_at__lt=end)
    rows = Check.objects.filter(on_day, sheet__chamber__site=site).select_related("sheet__chamber", "version")
    if chamber is not None:
        rows = rows.filter(sheet__chamber=chamber)
    checks = list(rows.order_by("started_at", "pk"))
    ids = [check.pk for check in checks]
    answers: dict[int, list[Answer]] = defaultdict(list)
    for answer in Answer.objects.filter(check_done__in=ids).order_by("recorded_at", "pk"):
        answers[answer.check_done_id].append(answer)
    signed: dict[int, list[Signature]] = defaultdict(list)
    for signature in Signature.objects.filter(check_done__in=ids).order_by("pk"):
        signed[signature.check_done_id].append(signature)
    return [_told(check, answers[check.pk], signed[check.pk]) for check in checks]


def _told(check: Check, answers: Sequence[Answer], signatures: Sequence[Signature]) -> CheckOfDay:
    by_step: dict[str, list[tuple[str, Answer]]] = defaultdict(list)
    for answer in answers:
        by_step[answer.step].append((OUTCOME_MARKS.get(answer.outcome, "unknown"), answer))
    steps = tuple(
        StepLine(str(step.get("text", step.get("key", ""))), tuple(by_step.get(str(step.get("key", "")), ())))
        for step in check.version.steps
    )
    mark = RESULT_MARKS.get(check.result, "open") if check.state == CheckState.SIGNED else "open"
    return CheckOfDay(check, mark, steps, tuple(signatures))
