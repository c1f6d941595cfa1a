"""What the title block of every page shows: the site, its time, the last check, the run that is on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db.models import OuterRef
from django.urls import reverse
from django.utils.translation import gettext as _

from facility import events
from facility.compute.instants import datetime_of, instant_of
from facility.gathered import Rows, branch, current, fetch, minute_down, newest
from facility.models import Check, CheckSheet, CheckState, Heartbeat, Notice, Site
from facility.readiness import clock_said
from facility.readiness.words import when
from facility.trust import faults
from treatments.models import Run

if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpRequest

    from facility.access import Visit
    from facility.gathered import AsJson, Row

RUNNER_LATE = timedelta(minutes=10)
LAST, RUN, PULSE, TOLD = "last check", "run on", "pulse", "told"


@dataclass(frozen=True, slots=True)
class LastCheck:
    """The newest signed check of a site."""

    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class RunOn:
    """The run that is on."""

    number: int
    elapsed_min: int
    pk: int


def title_block(request: HttpRequest) -> dict[str, Any]:
    """Return the values that base.html prints on each page; one query where a site is open."""
    shown: dict[str, Any] = {"demo": settings.DEMO, "notices": of_the_log(request)}
    visit: Visit | None = getattr(request, "visit", None)
    at = events.now()
    if visit is None:
        return shown | {"printed_at": at}
    rows = fetch([*branches(visit.site, at), unanswered(visit.site, request)])
    return shown | {
        "visit": visit,
        "site": visit.site,
        "site_now": at,
        "last_check": last_check(rows),
        "run_on": run_on(rows, at),
        "to_answer": len(rows[TOLD]),
        "notices": shown["notices"] + notices(rows[PULSE], at, visit.site.zone),
    }


def branches(site: Site, at: datetime) -> list[QuerySet[Any]]:
    """Return the rows of a site's title block."""
    signed = current(Check).filter(state=CheckState.SIGNED).order_by("-signed_at", "-id")
    of_sheet = signed.filter(sheet=OuterRef("pk"))
    return [
        branch(
            LAST, current(CheckSheet).filter(chamber__site=site, chamber__retired_at=None),
            newest(of_sheet, "signed_at", "signed_by"),
        ),
        branch(RUN, current(Run).filter(chamber__site=site, started_at__isnull=False, ended_at=None), "number", "started_at", "pk"),
        branch(PULSE, Site.objects.filter(pk=site.pk), *pulse(at)),
    ]  # fmt: skip


def pulse(at: datetime) -> tuple[AsJson, ...]:
    """Return the columns that ``notices`` reads: the latest event, the runner's newest beat up to now, of all, and what was said of the clock."""
    return (
        newest(events.latest(), "recorded_at"),
        newest(Heartbeat.objects.filter(beat_at__lte=at + events.CLOCK_SLACK).order_by("-beat_at"), "beat_at"),
        newest(Heartbeat.objects.order_by("-beat_at"), "beat_at"),
        clock_said.column(),
    )


def unanswered(site: Site, request: HttpRequest) -> QuerySet[Any]:
    """Return what was told to this account at once and waits for its answer."""
    told = Notice.objects.filter(site=site, user=request.user.pk, acknowledged_at=None, answer_by__isnull=False)
    return branch(TOLD, told, "pk")


def last_check(rows: Rows) -> LastCheck | None:
    """Return the newest of the sheets' newest checks."""
    signed = [row[0] for row in rows[LAST] if row[0] is not None]
    if not signed:
        return None
    signed_at, by = max(signed)
    return LastCheck(datetime_of(minute_down(signed_at)), by)


def run_on(rows: Rows, at: datetime) -> RunOn | None:
    """Return the longest run that is on at the site."""
    runs = [RunOn(number, _minutes_since(started_at, at), pk) for number, started_at, pk in rows[RUN]]
    return max(runs, key=lambda run: run.elapsed_min, default=None)


def _minutes_since(text: str, at: datetime) -> int:
    return int((at - datetime_of(minute_down(text))) / timedelta(minutes=1))


def notices(pulse: list[Row], at: datetime, zone: str) -> list[str]:
    """Return what every page must say of the box itself: its clock, and its job runner.

    What is due is reckoned when a page is shown, so a runner that stands still makes no word greener.
    """
    if not pulse:
        return []
    event, beat, ahead, said_right = pulse[0]
    found = [line] if (line := clock_said.line_of(said_right, at, zone)) else []
    if event is not None and _stored(event[0]) > at + events.CLOCK_SLACK:
        said = {"newest": when(minute_down(event[0]), zone), "now": when(instant_of(at), zone)}
        found.append(
            _("The clock is not trusted: the newest record is of %(newest)s, the clock says %(now)s. Set the clock.")
            % said
            + _(" If it was ahead and is right now, a director says so under Set-up.")
        )
    if beat is None and ahead is not None:
        found.append(_("The job runner has not been seen since the clock was set back: no notices, no backups."))
    if beat is not None and _stored(beat[0]) < at - RUNNER_LATE:
        said = {"since": when(minute_down(beat[0]), zone)}
        found.append(
            _("The job runner has not been seen since %(since)s: no notices, no backups. States are reckoned anew.")
            % said
        )
    return found


def of_the_log(request: HttpRequest) -> list[str]:
    """Return the fault of log or keys that stands, for those who are signed in; no query unless there is one."""
    found = faults.standing()
    if not found or not request.user.is_authenticated:
        return []
    more = _(" And %(count)d more.") % {"count": len(found) - 1} if found[1:] else ""
    advice = _("Records go on as always. Tell who keeps this box: what to do is under %(page)s.")
    return [f"{found[0]}{more} {advice % {'page': reverse('box:keys')}}"]


def _stored(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment
