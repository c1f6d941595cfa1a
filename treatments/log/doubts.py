"""What is refused, asked about once, or said aloud when an entry of the log is given."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from facility.counted import counted
from facility.models import Lock
from treatments.compute.log_kinds import During
from treatments.compute.log_values import LogDoubtError
from treatments.log.spans import deeper_than
from treatments.models import LogEntry, LogKind
from treatments.table_book.tables import table_of_run

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from facility.models import Site
    from treatments.compute.log_kinds import Kind
    from treatments.compute.log_values import Checked
    from treatments.models import Run, RunPlace

OXYGEN = (LogKind.OXYGEN_ON, LogKind.OXYGEN_OFF, LogKind.AIR_BREAK)
LOCKS = (LogKind.LOCK_IN, LogKind.LOCK_OUT)


def clock_words(at: datetime, site: Site) -> str:
    """Return an instant as the site's clock showed it."""
    return f"{at.astimezone(ZoneInfo(site.zone)):%H:%M:%S}"


def refuse_time(run: Run, kind: Kind, at: datetime, site: Site) -> None:
    """Refuse what can only happen under pressure at a time at which nobody was.

    An entry that lies before the last one is no fault: it is taken, and marked where the log is read.
    Errors: ValidationError.
    """
    if kind.during is During.ALWAYS:
        return
    what, time = str(LogKind(kind.key).label), clock_words(at, site)
    if run.started_at is None:
        raise ValidationError(_("“%(what)s” at %(time)s: run %(number)d has not left surface. Log “left surface” first."),
                              code="before", params={"what": what, "time": time, "number": run.number})  # fmt: skip
    if at < run.started_at:
        raise ValidationError(
            _("“%(what)s” at %(time)s lies before the run left surface at %(start)s. Correct the one or the other time."),
            code="before", params={"what": what, "time": time, "start": clock_words(run.started_at, site)},
        )  # fmt: skip
    if run.ended_at is not None and at > run.ended_at and kind.key != LogKind.REACHED_SURFACE:
        raise ValidationError(
            _("“%(what)s” at %(time)s lies after the run reached surface at %(end)s. Correct the one or the other time."),
            code="after", params={"what": what, "time": time, "end": clock_words(run.ended_at, site)},
        )  # fmt: skip


def refuse_closed(run: Run, reason: str) -> None:
    """Ask for a reason once the record is closed. Errors: ValidationError."""
    if run.closed_at is not None and not reason.strip():
        raise ValidationError(_("The record of run %(number)d is closed. Say why this is added; it counts as late."),
                              code="closed", params={"number": run.number})  # fmt: skip


def ask(run: Run, checked: Checked, occupant: RunPlace | None, at: datetime, site: Site) -> None:
    """Ask once about what does not fit to the log so far. Errors: LogDoubtError."""
    kind = checked.kind.key
    if kind == LogKind.EXTENSION:
        _ask_extension(run, checked)
    if occupant is None or kind not in (*OXYGEN, *LOCKS):
        return
    about = OXYGEN if kind in OXYGEN else LOCKS
    before = LogEntry.objects.filter(run=run, occupant=occupant, kind__in=about, retired_at=None, occurred_at__lte=at)
    last = before.order_by("-occurred_at", "-id").first()
    said = _same_again(kind, last.kind if last else None)
    if said:
        time = clock_words(last.occurred_at, site) if last and last.occurred_at else ""
        raise LogDoubtError(said, who=occupant.label, since=time)


def _same_again(kind: str, last: str | None) -> str:
    """Return the question to ask, if any; ``last``: the last entry of the person of that sort."""
    if kind == LogKind.OXYGEN_ON and last == kind:
        return _("%(who)s is on oxygen already since %(since)s. Store it all the same?")
    if kind in (LogKind.OXYGEN_OFF, LogKind.AIR_BREAK) and last is None:
        return _("%(who)s was not logged on oxygen yet. Store it all the same?")
    if kind in (LogKind.OXYGEN_OFF, LogKind.AIR_BREAK) and last != LogKind.OXYGEN_ON:
        return _("%(who)s is off oxygen already since %(since)s. Store it all the same?")
    if kind == LogKind.LOCK_IN and last == kind:
        return _("%(who)s is inside already since %(since)s. Store it all the same?")
    if kind == LogKind.LOCK_OUT and last == kind:
        return _("%(who)s is out already since %(since)s. Store it all the same?")
    return ""


def _ask_extension(run: Run, checked: Checked) -> None:
    table = table_of_run(run)
    if table is None:
        return
    depth = float(checked.values["extension_depth_fsw"])
    allowed = {one.depth_fsw: one.allowed for one in table.extensions}
    if depth not in allowed:
        known = ", ".join(f"{one:g}" for one in allowed) or _("none")
        raise LogDoubtError(
            _("An extension at %(depth)s fsw? %(table)s states them at: %(known)s fsw. Store it all the same?"),
            depth=f"{depth:g}", table=table.title, known=known,
        )  # fmt: skip
    taken = extensions_of(LogEntry.objects.filter(run=run, kind=LogKind.EXTENSION, retired_at=None)).get(depth, 0)
    count = taken + int(checked.values["extension_count"])
    if count > allowed[depth]:
        raise LogDoubtError(
            _("%(extensions)s at %(depth)s fsw? %(table)s states %(most)d; more is the physician's. Store it all the same?"),
            extensions=counted(count, "extension", "extensions"), depth=f"{depth:g}", table=table.title, most=allowed[depth],
        )  # fmt: skip


def extensions_of(entries: Iterable[LogEntry]) -> dict[float, int]:
    """Return how many extensions were logged by depth in fsw."""
    found: dict[float, int] = {}
    for entry in entries:
        if entry.kind == LogKind.EXTENSION and entry.is_current:
            depth = float(entry.values["extension_depth_fsw"])
            found[depth] = found.get(depth, 0) + int(entry.values["extension_count"])
    return found


def alarm(run: Run, row: LogEntry) -> str:
    """Return what must be said aloud of a depth beyond the working pressure, or nothing. It is stored all the same."""
    if row.depth is None:
        return ""
    locks = Lock.objects.filter(chamber=run.chamber_id, retired_at=None)
    found = deeper_than(row.depth, row.depth_unit, locks)
    return "" if found is None else beyond_words(row, found)


def beyond_words(row: LogEntry, lock: Lock) -> str:
    """Say which depth lies beyond which working pressure."""
    depth = row.depth.normalize() if row.depth is not None else ""
    return _("%(depth)s %(unit)s is beyond the working pressure of %(lock)s, %(limit)s %(limit_unit)s.") % {
        "depth": f"{depth:f}" if depth else "", "unit": row.depth_unit, "lock": lock.name,
        "limit": f"{lock.working_pressure.normalize():f}", "limit_unit": lock.get_working_pressure_unit_display(),
    }  # fmt: skip
