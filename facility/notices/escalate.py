"""run(): what nobody has acknowledged in time is told to the next circle, once."""

from __future__ import annotations

from collections import defaultdict
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility import events
from facility.compute.instants import instant_of
from facility.compute.states import State
from facility.counted import counted
from facility.models import Notice, NoticeKind, Site, SiteRole, Told
from facility.notices.calling import is_answered
from facility.notices.drafts import Draft, group_of, store
from facility.notices.people import in_roles
from facility.readiness.words import when
from facility.sweep.looking import ClockError, refuse_wrong_clock

if TYPE_CHECKING:
    from datetime import datetime

OLD = timedelta(days=1)
"""After this long the next digest tells what still holds; common practice, no source."""
BY = events.system("escalate")


def run(at: datetime) -> str:
    """Raise what was not acknowledged in time and return one sentence. With a clock behind the records only call-outs."""
    unanswered, said = Notice.objects.filter(acknowledged_at=None), []
    try:
        refuse_wrong_clock(at)
    except ClockError as error:
        unanswered = unanswered.filter(kind=NoticeKind.CALL_OUT)
        said.append(str(error))
    unanswered.filter(answer_by__lte=at - OLD).update(answer_by=None)
    groups: dict[tuple[int, str], list[Notice]] = defaultdict(list)
    for one in unanswered.filter(answer_by__lte=at).order_by("pk"):
        groups[one.site_id, group_of(one.once_key)].append(one)
    raised = sum(_raise(site, copies, at) for (site, _group), copies in groups.items())
    return " ".join([*said, f"{counted(raised, 'notice', 'notices')} raised."])


@transaction.atomic
def _raise(site_id: int, copies: list[Notice], at: datetime) -> bool:
    """Tell the directors and the site's own ways, unless somebody has answered meanwhile. Return whether they were told."""
    site = Site.objects.select_for_update().get(pk=site_id)
    waiting = Notice.objects.filter(pk__in=[one.pk for one in copies], acknowledged_at=None, answer_by__isnull=False)
    if waiting.count() < len(copies) or is_answered(copies[0]) or is_over(copies[0]):
        waiting.update(answer_by=None)
        return False
    waiting.update(answer_by=None)
    draft = _draft(site, copies, at)
    after = {"notice": str(copies[0].pk), "subject": copies[0].subject, "copies": str(len(copies))}
    events.record(site, events.What("told:unanswered", after=after, site_key=site.key), by=BY)
    people: list[int | None] = [*in_roles(site.pk, SiteRole.DIRECTOR), None]
    store(((draft, user) for user in people), now=at)
    return True


def is_over(notice: Notice) -> bool:
    """Return whether none of the plans that a notice told of is still as it was told: not ready."""
    if notice.kind != NoticeKind.READINESS:
        return False
    plans = [str(thing).split(":", 2)[1:] for thing in notice.things]
    told = {str(row.chamber_id): row.states for row in Told.objects.filter(chamber__in=[pk for pk, _plan in plans])}
    return all(told.get(pk, {}).get(plan) != State.NOT_READY for pk, plan in plans)


def _draft(site: Site, copies: list[Notice], at: datetime) -> Draft:
    first = copies[0]
    people = sum(one.user_id is not None for one in copies)  # the one copy beside theirs is for the site's own ways
    words = ngettext(
        "Told at %(at)s to %(n)d person; nobody has acknowledged it by %(now)s.",
        "Told at %(at)s to %(n)d people; nobody has acknowledged it by %(now)s.", people,
    )  # fmt: skip
    said = words % {
        "at": when(instant_of(first.made_at), site.zone), "n": people, "now": when(instant_of(at), site.zone),
    }  # fmt: skip
    return Draft(
        site_id=site.pk, kind=NoticeKind.UNANSWERED, group=f"raised:{first.pk}",
        subject=_("Nobody has acknowledged: %s") % first.subject, body=f"{said}\n\n{first.body}",
        next_action=_("Ring whoever is on duty, and acknowledge it once somebody sees to it."),
        link=first.link, things=tuple(first.things), raised_from=first.pk,
    )  # fmt: skip
