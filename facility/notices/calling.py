"""tell(): a call-out is told at once to everybody who was asked and has an account, and on the site's own ways."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from facility import house
from facility.compute.instants import instant_of
from facility.counted import counted
from facility.gathered import current
from facility.models import NoticeKind
from facility.notices.drafts import Draft, store
from facility.readiness.links import link
from facility.readiness.words import when
from treatments.models import CallOut, CallPerson

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Notice

THING = "call:"


def tell(call_id: int, at: datetime) -> str:
    """Store the notices of a call that is on, for those not told yet; return one sentence. The clock is not asked."""
    call = current(CallOut).filter(pk=call_id, ended_at=None).select_related("chamber__site", "plan").first()
    if call is None:
        return "The call is over."
    asked = current(CallPerson).filter(call=call, person__user__is_active=True)
    people = sorted(set(asked.values_list("person__user_id", flat=True)))
    draft = _draft(call, at)
    made = store(((draft, user) for user in [*people, None]), now=at)
    return f"{counted(made, 'notice', 'notices')} of the call made."


def _draft(call: CallOut, at: datetime) -> Draft:
    site = call.chamber.site
    minutes = int(house.values(site)["answer_within_min"])
    table = call.plan.name if call.plan is not None else _("not decided")
    began = when(instant_of(call.began_at), site.zone)
    return Draft(
        site_id=site.pk, kind=NoticeKind.CALL_OUT, group=f"call:{call.pk}",
        subject=_("Call-out at %(chamber)s") % {"chamber": call.chamber.name},
        body=_("Call-out at %(chamber)s since %(when)s. Table: %(table)s.")
        % {"chamber": call.chamber.name, "when": began, "table": table},
        next_action=_("Say at once whether you come, and when: acknowledge this and ring the chamber."),
        link=link("readiness:call", site.key, call.pk), things=(f"{THING}{call.pk}",),
        answer_by=at + timedelta(minutes=minutes) if minutes else None,
    )  # fmt: skip


def is_answered(notice: Notice) -> bool:
    """Return whether a notice of a call needs no acknowledging: the call is over, or somebody has answered it."""
    if notice.kind != NoticeKind.CALL_OUT or not notice.things:
        return False
    pk = int(str(notice.things[0]).removeprefix(THING))
    on = current(CallOut).filter(pk=pk, ended_at=None).exists()
    return not on or current(CallPerson).filter(call=pk, answered_at__isnull=False).exists()
