"""Which full checks before a run a call-out still owes: reckoned from the records each time it is asked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Exists, F, OuterRef, Q

from facility.models import Check, CheckResult, CheckSheet, CheckState, Occasion
from treatments.models import CallOut

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator
    from datetime import datetime

    from django.db.models import QuerySet

OPEN_STEPS = (CheckResult.UNREAD, CheckResult.FAILED)  # only a check with one of these can have open steps
ANSWERED_ALL = (CheckResult.PASSED, CheckResult.LIMITS)


@dataclass(frozen=True, slots=True)
class Owed:
    """A sheet that has to be walked in full after a call-out; ``short`` is the short check, None if there was none."""

    call: CallOut
    sheet: CheckSheet
    short: Check | None


def may_owe(calls: QuerySet[CallOut]) -> QuerySet[CallOut]:
    """Keep the calls that may owe a full check, for a query of a page that shows other things too."""
    later = Check.objects.filter(
        sheet=OuterRef("sheet"), state=CheckState.SIGNED, result__in=ANSWERED_ALL, signed_at__gt=OuterRef("signed_at")
    )
    short = Check.objects.filter(
        ~Exists(later), sheet__chamber=OuterRef("chamber"), sheet__occasion=Occasion.BEFORE_RUN, retired_at=None,
        state=CheckState.SIGNED, result__in=OPEN_STEPS, signed_at__gte=OuterRef("began_at"),
    )  # fmt: skip
    unchecked = Q(run__before_check=None) | Q(run__before_check__result__in=OPEN_STEPS)
    return calls.filter(Exists(short) | Q(unchecked, run__started_at__isnull=False))


def owed_by(pks: Collection[Any]) -> list[Owed]:
    """Return what some calls owe, the oldest call first, each sheet once. Two queries, however many calls."""
    pairs = list(_with_sheets(pks))
    if not pairs:
        return []
    befores = [call.run.before_check_id for call, _sheet in pairs if call.run and call.run.before_check_id]
    rows = Check.objects.filter(
        Q(signed_at__gte=pairs[0][0].began_at) | Q(pk__in=befores), sheet__in={sheet.pk for _call, sheet in pairs},
        state=CheckState.SIGNED, retired_at=None,
    )  # fmt: skip
    answered = Count("answers__step", distinct=True, filter=Q(answers__retired_at=None))
    checks = list(rows.select_related("version").annotate(answered=answered).order_by("signed_at"))
    found: dict[int, Owed] = {}
    for call, sheet in pairs:
        mine = [check for check in checks if check.sheet_id == sheet.pk]
        for one in _owed(call, sheet, mine):
            found.setdefault(sheet.pk, one)
    return list(found.values())


def _with_sheets(pks: Collection[Any]) -> Iterator[tuple[CallOut, CheckSheet]]:
    """Yield each call with each sheet before a run of its chamber, number and title only."""
    rows = CallOut.objects.filter(
        pk__in=pks, retired_at=None, chamber__sheets__occasion=Occasion.BEFORE_RUN, chamber__sheets__retired_at=None
    ).select_related("run")
    named: Any = rows.annotate(sheet_pk=F("chamber__sheets__pk"), sheet_title=F("chamber__sheets__title"))
    for call in named.order_by("began_at", "sheet_pk"):
        yield call, CheckSheet(pk=call.sheet_pk, title=call.sheet_title, chamber_id=call.chamber_id)


def _owed(call: CallOut, sheet: CheckSheet, checks: list[Any]) -> Iterator[Owed]:
    """Yield what one call owes of one sheet; nothing once it was signed with every step answered."""
    since = [check for check in checks if _at(check) >= call.began_at]
    if any(_is_full(check) for check in since):
        return
    short = [check for check in since if call.ended_at is None or _at(check) <= call.ended_at]
    if short or _ran_without(call, checks):
        yield Owed(call, sheet, short[-1] if short else None)


def _ran_without(call: CallOut, checks: list[Any]) -> bool:
    """Return whether the run of a call left surface without this sheet's full check before it."""
    run = call.run
    if run is None or run.started_at is None:
        return False
    if run.before_check_id is None:
        return True
    return any(check.pk == run.before_check_id and not _is_full(check) for check in checks)


def _at(check: Check) -> datetime:
    return check.signed_at or check.started_at


def _is_full(check: Any) -> bool:
    """Return whether every step has an answer, “could not read” included."""
    return bool(check.answered >= len(check.version.steps))


def call_is_on(chamber_id: int) -> bool:
    """Return whether a chamber is called out now."""
    return CallOut.objects.filter(chamber=chamber_id, ended_at=None, retired_at=None).exists()
