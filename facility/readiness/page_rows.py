"""What the Now page shows beside the answer: open and unfinished things, people on duty, contacts. One query."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import Exists, OuterRef

from facility.gathered import Rows, branch, current, fetch
from facility.models import Check, CheckSheet, CheckState, Contact, Occasion, QualificationHeld
from facility.readiness import was_off
from maintenance.models import Defect
from treatments.calling.short_checks import may_owe
from treatments.models import CallOut, Run

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.db.models import QuerySet

    from facility.models import Chamber, Site

DEFECT, UNFINISHED, OWED, SECOND_LOOK, CONTACT = "open defect", "unfinished", "owed", "second look", "contact"
CALL = "call that may owe a check"


def page_rows(site: Site, chambers: Iterable[Chamber]) -> Rows:
    """Fetch what a site's Now page shows beside the answer."""
    return fetch(branches(site, [chamber.pk for chamber in chambers]))


def branches(site: Site, chambers: list[int]) -> list[QuerySet[Any]]:
    """Return the rows of the panels."""
    after_run = CheckSheet.objects.filter(
        chamber=OuterRef("chamber"), occasion=Occasion.AFTER_RUN, retired_at=None, recorded_at__lte=OuterRef("ended_at")
    )
    return [
        branch(
            DEFECT, current(Defect).filter(site=site, returned_at=None),
            "pk", "number", "what", "effect", "found_at", "equipment__tag", "bank__name",
        ),
        branch(
            UNFINISHED, current(Check).filter(sheet__chamber__in=chambers, state=CheckState.OPEN),
            "pk", "number", "sheet__title", "started_at", "started_by", "left_off_at",
        ),
        branch(
            OWED, current(Run).filter(Exists(after_run), chamber__in=chambers, ended_at__isnull=False, after_check=None),
            "pk", "number", "ended_at",
        ),
        branch(CALL, may_owe(current(CallOut).filter(chamber__in=chambers)), "pk"),
        branch(
            SECOND_LOOK,
            current(QualificationHeld).filter(
                person__site=site, person__retired_at=None, second_look_by=""
            ),
            "pk", "person__name", "kind__name", "recorded_at",
        ),
        branch(
            CONTACT, current(Contact).filter(site=site), "kind", "name", "phone", "other", "confirmed_on",
        ),
        was_off.branch_of(site),
    ]  # fmt: skip
