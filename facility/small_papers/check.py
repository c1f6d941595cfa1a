"""One check as a paper: every step as on the blank sheet, with what was answered, corrected and signed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from facility.access import Act, enter
from facility.compute.sheets import groups_of
from facility.counted import counted
from facility.models import Answer, Check, CheckResult, CheckState, Event, Outcome, Signature
from facility.report.checks import spanned
from facility.shown import instant_text
from facility.small_papers.asking import Ask, form_or_paper, given
from facility.small_papers.forms import PrintForm
from facility.small_papers.making import Paper
from facility.small_papers.marks import addresses
from facility.walk.check_views import check_of
from facility.walk.services import steps_of
from facility.walk.signing import answers_of, holds
from facility.walk.station import tell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.http import HttpResponse

    from facility.compute.sheets import Step
    from facility.http import StaffRequest
    from facility.small_papers.making import Print
    from facility.walk.station import Told

OUTCOMES = {Outcome.GOOD: "indate", Outcome.BAD: "over", Outcome.UNREAD: "unread", Outcome.NOT_FITTED: "open"}
RESULTS = {CheckResult.PASSED: "indate", CheckResult.LIMITS: "limits", CheckResult.UNREAD: "unread"}


@dataclass(frozen=True, slots=True)
class Said:
    """One answer as its page tells it, with its mark."""

    told: Told
    picture: str

    @property
    def answer(self) -> Answer:
        """The answer itself."""
        return self.told.answer

    @property
    def good(self) -> bool:
        """Whether it is within limits, and so needs no word beside its mark."""
        return self.answer.outcome == Outcome.GOOD


@dataclass(frozen=True, slots=True)
class Row:
    """One step with its number as on the blank sheet, and everything that was answered to it."""

    number: str
    step: Step
    said: tuple[Said, ...]

    @property
    def lines(self) -> tuple[Said | None, ...]:
        """Its answers, a line each; one empty line where there is none."""
        return self.said or (None,)


@dataclass(frozen=True, slots=True)
class Part:
    """A group of steps."""

    place: int
    name: str
    rows: tuple[Row, ...]


def parts_of(steps: Sequence[Step], answers: list[Answer]) -> tuple[Part, ...]:
    """Return the groups of a sheet in walking order, numbered as on the blank sheet. One query."""
    told = tell(answers, {step.key: step for step in steps})
    by_step = {
        key: tuple(Said(one, addresses()[OUTCOMES[Outcome(one.answer.outcome)]]) for one in found)
        for key, found in told.items()
    }
    return tuple(
        Part(group.place, group.name, tuple(
            Row(f"{group.place}.{number}", step, by_step.get(step.key, ())) for number, step in enumerate(group.steps, 1)))
        for group in groups_of(steps)
    )  # fmt: skip


def check_paper(check: Check, printed: Print) -> Paper:
    """Return a check as a paper. The number of queries does not grow with its steps."""
    site, zone = printed.site, ZoneInfo(printed.site.zone)
    answers = answers_of(check)
    parts = parts_of(steps_of(check.version), answers)
    signatures = [
        (one, holds(one, check, answers)) for one in Signature.objects.filter(check_done=check).order_by("pk")
    ]
    entries = list(Event.objects.filter(subject_kind="facility.check", subject_id=check.pk).order_by("seq"))
    told = [one.told.entry for part in parts for row in part.rows for one in row.said]
    records = spanned([one.seq for one in entries] + [number for number in told if number])
    name = _("Check C-%(number)d") % {"number": check.number}
    mark, words = _result(check)
    return Paper(
        f"check-{site.key}-{check.number}",
        f"{check.sheet.title}, C-{check.number}",
        f"{name}, {records}",
        plate=(
            (_("Chamber"), check.sheet.chamber.name), (_("Check"), f"C-{check.number}"),
            (_("Begun"), instant_text(check.started_at, zone)),
        ),
        template="small_papers/check.html",
        more={
            "check": check, "parts": parts, "signatures": signatures, "entries": entries, "words": words,
            "void": bool(signatures) and not signatures[-1][1], "picture": addresses()[mark],
            "answered": bool(answers), "tally": _tally(parts, answers),
        },
    )  # fmt: skip


def _result(check: Check) -> tuple[str, str]:
    """Return mark and words of what a check says; one that is not signed says nothing."""
    if check.state != CheckState.SIGNED:
        return "open", _("%(state)s: it counts for nothing") % {"state": check.get_state_display()}
    return RESULTS.get(CheckResult(check.result), "over"), str(check.get_result_display())


def _tally(parts: Sequence[Part], answers: Sequence[Answer]) -> str:
    """Say how many steps there are, how many answers of each sort count, and how many are late or corrected."""
    counts = [one for one in answers if one.is_current]
    told = [
        f"{label.lower()}: {number}" for value, label in Outcome.choices
        if (number := sum(1 for one in counts if one.outcome == value))
    ]  # fmt: skip
    steps = [row for part in parts for row in part.rows]
    said = {
        "steps": counted(len(steps), "step", "steps"), "told": ", ".join(told) or _("none"), "late": sum(1 for one in counts if one.late),
        "silent": sum(1 for row in steps if not any(one.answer.is_current for one in row.said)),
        "corrected": len(answers) - len(counts),
    }  # fmt: skip
    return (
        _(
            "%(steps)s. Answers that count: %(told)s; late among them: %(late)d. Corrected: %(corrected)d. Without an answer: %(silent)d."
        )
        % said
    )


@require_safe
def check(request: StaffRequest, site: str, pk: int) -> HttpResponse:
    """Ask on what sheet, and send a check as a paper."""
    visit = enter(request, site, Act.SEE)
    found = check_of(visit, pk)
    ask = Ask(
        _("%(title)s, C-%(number)d, as a paper") % {"title": found.sheet.title, "number": found.number},
        _("Every step with its number as on the blank sheet: what was answered, by whom and when, what was corrected, and"
          " whether each signature holds."),
    )  # fmt: skip

    def make(printed: Print, _asked: dict[str, Any]) -> Paper:
        return check_paper(found, printed)

    return form_or_paper(request, visit, PrintForm(given(request)), ask, make)
