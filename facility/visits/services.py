"""Opening the door to an inspector for a time, keeping what they found, and answering it."""

from __future__ import annotations

import hashlib
import secrets
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max, Q
from django.utils.translation import gettext as _

from facility import events, services
from facility.events import Actor, What
from facility.fields import day_text
from facility.models import Event, FindingAnswer, Inspection, ReadingLink, VisitFinding

LONGEST = timedelta(days=92)
"""A door that stands open longer than a quarter is forgotten (common practice, no source)."""
SECRET_BYTES = 32


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def open_door(link: ReadingLink, *, by: Actor) -> tuple[ReadingLink, str]:
    """Store a link and return it with its secret, which is shown once and stored nowhere.

    Errors: ValidationError if it ends before it opens, has ended, or is open too long.
    """
    now = events.now()
    if link.ends_at <= now:
        raise ValidationError({"ends_at": _("The end lies before now. Choose a later one.")})
    if link.ends_at - max(link.opens_at, now) > LONGEST:
        last = max(link.opens_at, now) + LONGEST
        raise ValidationError(
            {"ends_at": _("A link may be open for %(days)d days at most. End it by %(last)s and make another one then.")
             % {"days": LONGEST.days, "last": day_text(last.date())}}
        )  # fmt: skip
    secret = secrets.token_urlsafe(SECRET_BYTES)
    link.secret_sha256 = _digest(secret)
    return services.add(link, by=by, action="reading link made"), secret


def link_of(secret: str, now: datetime) -> ReadingLink | None:
    """Return the link that a secret opens at ``now``: not before it opens, not after its end, not once it is revoked."""
    rows = ReadingLink.objects.filter(retired_at=None, site__retired_at=None, opens_at__lte=now, ends_at__gt=now)
    return rows.select_related("site", "chamber").filter(secret_sha256=_digest(secret)).first()


@transaction.atomic
def note_use(link: ReadingLink, now: datetime) -> None:
    """Remember that a link was used; the first use of each civil day is an event."""
    zone = ZoneInfo(link.site.zone)
    if link.used_at is not None and link.used_at.astimezone(zone).date() == now.astimezone(zone).date():
        return
    seen = Q(used_at=None) if link.used_at is None else Q(used_at=link.used_at)
    if ReadingLink.objects.filter(seen, pk=link.pk).update(used_at=now):
        what = What("reading link used", after={"for": link.name}, site_key=link.site.key)
        events.record(link, what, by=Actor(name=f"reading link: {link.name}", role="reader"))


def record_visit(visit: Inspection, today: date, *, by: Actor) -> Inspection:
    """Store a visit that was made.

    Errors: ValidationError if it lies ahead, or a field refuses it.
    """
    if visit.visited_on > today:
        raise ValidationError({"visited_on": _("The visit lies ahead. Record it once it was made.")})
    return services.add(visit, by=by, action="visit recorded")


@transaction.atomic
def add_finding(finding: VisitFinding, *, by: Actor) -> VisitFinding:
    """Store a finding under the next number of its visit.

    Errors: ValidationError if it is due before the visit was made, or a field refuses it.
    """
    visit = Inspection.objects.select_for_update().get(pk=finding.inspection_id)
    if finding.due_on < visit.visited_on:
        raise ValidationError(
            {"due_on": _("The visit was on %(day)s; an answer cannot be due before. Choose a later day.")
             % {"day": day_text(visit.visited_on)}}
        )  # fmt: skip
    last = VisitFinding.objects.filter(inspection=visit).aggregate(last=Max("number"))["last"]
    finding.number = (last or 0) + 1
    return services.add(finding, by=by, action="finding recorded")


def answer(row: FindingAnswer, *, by: Actor) -> FindingAnswer:
    """Store an answer to an open finding.

    Errors: ValidationError if the finding is closed, or names an event that is not in the site's log.
    """
    if row.finding.closed_on is not None:
        raise ValidationError(
            _("Finding %(number)d was closed on %(day)s. Record a new finding if there is more to say.")
            % {"number": row.finding.number, "day": day_text(row.finding.closed_on)}
        )
    key = row.finding.inspection.site.key
    if row.of_event is not None and not Event.objects.filter(seq=row.of_event, site_id_text=key).exists():
        raise ValidationError(
            {"of_event": _("There is no event %(seq)d in the log of this site. Copy its number from Records, Events.")
             % {"seq": row.of_event}}
        )  # fmt: skip
    return services.add(row, by=by, action="finding answered")


def close(finding: VisitFinding, *, on: date, closed_by: str, note: str, by: Actor) -> VisitFinding:
    """Store that whoever found it took the answer as enough.

    Errors: ValidationError if nothing was answered yet, it is closed already, or the day does not fit.
    """
    if finding.closed_on is not None:
        raise ValidationError(_("It was closed on %(day)s already.") % {"day": day_text(finding.closed_on)})
    if not FindingAnswer.objects.filter(finding=finding, retired_at=None).exists():
        raise ValidationError(_("Nothing was answered yet. Record the answer first."))
    today = events.now().astimezone(ZoneInfo(finding.inspection.site.zone)).date()
    if not finding.inspection.visited_on <= on <= today:
        raise ValidationError(
            {"closed_on": _("%(day)s is not between the visit, %(visit)s, and today, %(today)s.") % {
                "day": day_text(on), "visit": day_text(finding.inspection.visited_on), "today": day_text(today)}}
        )  # fmt: skip
    finding.closed_on, finding.closed_by, finding.closed_note = on, closed_by, note
    return services.change(
        finding,
        by=by,
        reason=note or _("Taken as answered."),
        shown_version=finding.row_version,
        action="finding closed",
    )


def start_of_day(day: date, zone: str) -> datetime:
    """Return the instant at which a civil day begins at a site."""
    return datetime.combine(day, time(), tzinfo=ZoneInfo(zone))
