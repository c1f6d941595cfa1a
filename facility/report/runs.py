"""What a report says of runs: by number only, with the picture of each and its departures from the table; and drills."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from facility.models import Drill, DrillPart
from facility.report.drawing import address_of
from facility.report.shape import Cell, Picture, Section, Table
from treatments.after.kept import departures_of
from treatments.figures.picture import about
from treatments.figures.state import figures_of
from treatments.figures.sum import elapsed
from treatments.figures.views import drawn
from treatments.models import Run, Waiver

if TYPE_CHECKING:
    from collections.abc import Iterable

    from facility.report.scope import Frame

PICTURE_WIDTH = 900


def runs_of(frame: Frame) -> list[Run]:
    """Return the runs that left surface within the days."""
    rows = Run.objects.filter(chamber__site=frame.site, retired_at=None, **frame.within("started_at"))
    rows = rows.filter(**frame.of_chamber("chamber"))
    return list(rows.select_related("chamber__site", "plan", "lock").order_by("started_at", "pk"))


def name_of(run: Run) -> str:
    """Return the only name that a run has in a report."""
    return _("run %(number)d") % {"number": run.number}


def section(frame: Frame) -> Section:
    """Return the runs of the days with the picture of each."""
    found = runs_of(frame)
    numbers = frame.numbers(Run, (one.pk for one in found))
    outside = sum(1 for one in found if one.outside_house_rules)
    lead = ngettext("%(n)d run", "%(n)d runs", len(found)) % {"n": len(found)}
    lead += _(", %(outside)d outside the house rules. Runs are known by their number; nobody treated is named.") % {
        "outside": outside
    }
    head = (_("Run"), _("Left surface"), _("Reached surface"), _("Table"), _("Departures"), _("Record"))
    cells = tuple(
        (
            Cell(name_of(one), sub=str(one.get_purpose_display())), Cell(frame.at(one.started_at)), Cell(frame.at(one.ended_at)),
            Cell(one.plan.name, sub=_("OUTSIDE THE HOUSE RULES") if one.outside_house_rules else ""),
            Cell(_departures(one)), Cell(numbers.of(one.pk), figure=True),
        )
        for one in found
    )  # fmt: skip
    tables = [Table(_("Each run"), head, cells, (14, 18, 18, 22, 18, 10), _("None."))]
    tables += [table for one in found if (table := _departure_table(one))]
    return Section(_("Runs"), lead, tables=tuple(tables), pictures=tuple(_pictures(frame, found, numbers)))


def _departures(run: Run) -> str:
    if run.closed_at is None:
        return _("record not closed")
    return str(len(departures_of(run.computed.get("figures", {}))))


def _departure_table(run: Run) -> Table | None:
    found = departures_of(run.computed.get("figures", {})) if run.closed_at is not None else []
    if not found:
        return None
    cells = tuple(
        (
            Cell(str(number)), Cell(elapsed(one.found.minute)), Cell(f"{one.found.depth_fsw:g} fsw", figure=True), Cell(one.words),
            Cell(f"{one.found.planned:.1f} {one.found.unit}", figure=True), Cell(f"{one.found.logged:.1f} {one.found.unit}", figure=True),
            Cell(one.who or _("the chamber")),
        )
        for number, one in enumerate(found, 1)
    )  # fmt: skip
    head = (
        _("No."), _("Run time"), _("Depth"), _("Departure from the table"), _("Table"), _("Logged"), _("Whom it concerns"),
    )  # fmt: skip
    return Table(_("Departures of %(run)s") % {"run": name_of(run)}, head, cells, (7, 12, 12, 24, 13, 13, 19))


def _pictures(frame: Frame, runs: Iterable[Run], numbers: Any) -> Iterable[Picture]:
    for run in runs:
        found = figures_of(run, run.ended_at or frame.ends_at)
        if found.track is None or found.track.deepest_fsw <= 0:
            continue  # nothing of its depth is in the log
        words = f"{name_of(run)}, {run.plan.name}: {about(found)}"
        caption = f"{name_of(run)}, {run.plan.name}, {frame.at(run.started_at)} ({numbers.of(run.pk)})"
        yield Picture(address_of(drawn(run, found, PICTURE_WIDTH, ink="#000")), words, caption)


def waivers_of(frame: Frame) -> list[Waiver]:
    """Return the waivers that held on one of the days."""
    rows = Waiver.objects.filter(
        chamber__site=frame.site,
        starts_at__lt=frame.ends_at,
        ends_at__gte=frame.starts_at,
        **frame.of_chamber("chamber"),
    )
    return list(rows.select_related("need").order_by("starts_at", "pk"))


def waivers(frame: Frame, most: int | None = None) -> Section:
    """Return the waivers that held on one of the days with their ends, at most so many."""
    rows = waivers_of(frame)[:most]
    numbers = frame.numbers(Waiver, (one.pk for one in rows))
    cells = tuple(
        (
            Cell(one.need.name if one.need else _("crew"), sub="" if one.is_current else _("no longer counts")),
            Cell(frame.at(one.starts_at)), Cell(_end(frame, one)), Cell(one.why, sub=one.counter_measure),
            Cell(one.granted_by, sub=_countersigned(one)), Cell(numbers.of(one.pk), figure=True),
        )
        for one in rows
    )  # fmt: skip
    head = (_("Of what"), _("From"), _("Until"), _("Reason, and what was done instead"), _("Granted by"), _("Record"))
    table = Table(_("Waivers with their ends"), head, cells, (18, 15, 17, 26, 14, 10), _("None."))
    return Section(_("Waivers"), _("A need was not met, and a named person decided for a time."), tables=(table,))


def _end(frame: Frame, one: Waiver) -> str:
    words = frame.at(one.ended_early_at or one.ends_at)
    return _("%(at)s, or the end of a run begun in it") % {"at": words} if one.to_end_of_run else words


def _countersigned(one: Waiver) -> str:
    if one.countersigned_by:
        return _("countersigned by %(name)s") % {"name": one.countersigned_by}
    return _("not countersigned") if one.countersign_by else ""


def drills(frame: Frame) -> Section:
    """Return the drills of the days, who took part, and whether the goal was reached."""
    rows = Drill.objects.filter(kind__site=frame.site, **frame.within("held_at"))
    found = list(rows.select_related("kind").order_by("held_at", "pk"))
    parts: dict[int, list[str]] = defaultdict(list)
    taken = DrillPart.objects.filter(drill__in=[one.pk for one in found], retired_at=None).select_related("person")
    for part in taken.order_by("pk"):
        parts[part.drill_id].append(part.person.name)
    numbers = frame.numbers(Drill, (one.pk for one in found))
    head = (_("Held"), _("Drill"), _("Goal"), _("Who took part"), _("Led by"), _("Record"))
    cells = tuple(
        (
            Cell(frame.at(one.held_at), sub=_("announced") if one.announced else _("not announced")),
            Cell(one.kind.name, sub="" if one.is_current else _("no longer counts")), Cell(_goal(one)),
            Cell(", ".join(parts[one.pk])), Cell(one.led_by), Cell(numbers.of(one.pk), figure=True),
        )
        for one in found
    )  # fmt: skip
    lead = ngettext("%(n)d drill.", "%(n)d drills.", len(found)) % {"n": len(found)}
    return Section(
        _("Drills"), lead, tables=(Table(_("Each drill"), head, cells, (18, 20, 16, 22, 14, 10), _("None.")),)
    )


def _goal(drill: Drill) -> str:
    words = _("reached") if drill.reached else _("not reached")
    return (
        words
        if drill.minutes is None
        else _("%(words)s, %(minutes)s min") % {"words": words, "minutes": drill.minutes.normalize()}
    )
