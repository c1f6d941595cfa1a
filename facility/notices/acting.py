"""What people do with notices: acknowledge, act, answer for a thing until an end, mute a kind, choose an hour."""

from __future__ import annotations

from collections import defaultdict
from datetime import timedelta
from typing import TYPE_CHECKING, Final

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from facility import events, services
from facility.events import What
from facility.models import Flag, Notice, NoticeHour, NoticeKind, NoticeMute, Snooze
from facility.notices.drafts import NEVER_MUTED, group_of
from facility.notices.people import answering_at

if TYPE_CHECKING:
    from datetime import datetime

    from facility.events import Actor
    from facility.models import Site, User

LONGEST_SNOOZE: Final = timedelta(days=92)
"""Common practice, no source: nothing is put off by more than a quarter at once."""
WATCHED: Final = timedelta(days=7)


@transaction.atomic
def acknowledge(notice: Notice, *, by: Actor) -> bool:
    """Note that somebody has seen a notice: its other copies are then not raised. False if it was acknowledged already."""
    now = events.now()
    mine = Notice.objects.filter(pk=notice.pk, acknowledged_at=None)
    if not mine.update(acknowledged_at=now, acknowledged_by=by.name, answer_by=None):
        return False
    beside = Notice.objects.filter(site=notice.site_id, kind=notice.kind, acknowledged_at=None, answer_by__isnull=False)
    group = group_of(notice.once_key)
    same = [pk for pk, key in beside.values_list("pk", "once_key") if group_of(key) == group]
    Notice.objects.filter(pk__in=same).update(answer_by=None)
    if notice.kind != NoticeKind.DIGEST:
        after = {"notice": str(notice.pk), "kind": str(notice.kind), "subject": notice.subject}
        events.record(None, What("notice acknowledged", after=after, site_key=notice.site.key), by=by)
    return True


@transaction.atomic
def done(notice: Notice, *, by: Actor) -> bool:
    """Note that somebody acted on a notice; it is acknowledged with it. False if somebody did already."""
    acknowledge(notice, by=by)
    return bool(Notice.objects.filter(pk=notice.pk, acted_at=None).update(acted_at=events.now()))


def settle(at: datetime) -> int:
    """Count as acted on what was acknowledged and whose flag was over afterwards, within a week. Return how many."""
    over: dict[int, dict[str, datetime]] = defaultdict(dict)
    rows = Flag.objects.filter(over_at__gt=at - timedelta(days=1), over_at__lte=at).order_by("over_at")
    for site, thing, over_at in rows.values_list("site_id", "thing", "over_at"):
        if over_at is not None:
            over[site][thing] = over_at
    seen = Notice.objects.filter(
        site__in=over, acknowledged_at__isnull=False, acted_at=None, made_at__gt=at - WATCHED
    )  # fmt: skip
    acted = [
        one.pk for one in seen.only("pk", "site_id", "things", "acknowledged_at").iterator()
        if any(_after(one, over[one.site_id].get(thing)) for thing in one.things)
    ]  # fmt: skip
    return Notice.objects.filter(pk__in=acted).update(acted_at=at)


def _after(notice: Notice, over_at: datetime | None) -> bool:
    return over_at is not None and notice.acknowledged_at is not None and over_at >= notice.acknowledged_at


def snooze(row: Snooze, *, by: Actor) -> Snooze:
    """Let somebody answer for a thing until an end; until then it is in no notice. One in force is superseded.

    Errors: ValidationError if the end is past or too far, the reason is blank, or the owner has no role at the site.
    """
    now = events.now()
    problems: dict[str, str] = {}
    if row.until <= now:
        problems["until"] = _("The end must lie ahead: until then nobody is told. Give a later time.")
    elif row.until - now > LONGEST_SNOOZE:
        problems["until"] = _("Nothing is put off by more than 92 days at once. Give an earlier end.")
    if not row.why.strip():
        problems["why"] = _("Give a reason: it is kept with the record.")
    if not answering_at(row.site).filter(pk=row.owner_id).exists():
        problems["owner"] = _("Whoever answers for it needs an account with a role here. Choose another.")
    if problems:
        raise ValidationError(problems)
    before = Snooze.objects.filter(site=row.site_id, thing=row.thing, retired_at=None, until__gt=now).first()
    if before is not None:
        services.supersede(before, row, by=by, reason=row.why)
        return row
    return services.add(row, by=by, action="snoozed", reason=row.why)


def wake(row: Snooze, *, by: Actor, reason: str) -> Snooze:
    """Let a thing be told again before the end. Errors: ValidationError for a blank reason, or if it was ended already."""
    return services.retire(row, by=by, reason=reason, action="snooze ended")


def mute(site: Site, user: User, kind: str, why: str, *, by: Actor) -> NoticeMute:
    """Let an account not be told of one kind; who muted it and why is kept.

    Errors: ValidationError for a kind that may not be muted, a blank reason, or if it is muted already.
    """
    if kind in NEVER_MUTED:
        raise ValidationError({"kind": _("Somebody's help may hang on this kind: it cannot be muted.")})
    return services.add(
        NoticeMute(site=site, user=user, kind=kind, why=services.need_reason(why)), by=by, action="muted", reason=why
    )


def unmute(row: NoticeMute, *, by: Actor) -> NoticeMute:
    """Let an account be told of a kind again. Errors: ValidationError if it was lifted already."""
    return services.retire(row, by=by, reason=_("Told again."), action="mute lifted")


def choose_hour(user: User, hour: int, *, by: Actor) -> NoticeHour:
    """Store the hour of the digest by the clock of each site. Errors: ValidationError for an hour that is none."""
    row = NoticeHour.objects.filter(user=user).first()
    if row is None:
        return services.add(NoticeHour(user=user, hour=hour), by=by, action="hour chosen")
    row.hour = hour
    return services.change(row, by=by, reason=_("Chosen."), shown_version=row.row_version, action="hour chosen")
