"""Explained: oxygen, doses, what tenders owe, and waits, each person by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from treatments.compute.dose import exposures, pulmonary_dose
from treatments.compute.tables import OXYGEN
from treatments.figures.sum import NOTHING, Line, Sum, clock, elapsed, figure, grid
from treatments.figures.words import revision_words, wait_words
from treatments.reference import fractions
from treatments.reference.laws import pulmonary
from treatments.worksheets.common import DOSES, RUNS, not_stated, rests_on, said

if TYPE_CHECKING:
    from collections.abc import Iterator

    from treatments.compute.waits import Wait
    from treatments.figures.shape import Figures, PersonFigures


def oxygen(figures: Figures) -> Sum:
    """Explain the minutes under pressure and on oxygen."""
    rows = [
        (
            one.label, ", ".join(f"{elapsed(a)} \u2013 {elapsed(b)}" for a, b in one.stays), figure(one.minutes),
            figure(one.oxygen_min), str(sum(part.gas == OXYGEN for part in one.breathed)), f"{one.deepest_fsw:g}",
        )
        for one in figures.people
    ]  # fmt: skip
    head = (
        _("Who"), _("Under pressure, run time"), _("Minutes"), _("On oxygen, minutes"), _("Periods"), _("Deepest, fsw"),
    )  # fmt: skip
    periods = [
        (one.label, elapsed(part.start_min), elapsed(part.end_min), figure(part.minutes))
        for one in figures.people
        for part in one.breathed
        if part.gas == OXYGEN
    ]
    return Sum(
        key="oxygen", title=_("Time under pressure and on oxygen"),
        formula=_(
            "from lock-in to lock-out, or with the run; on oxygen from that person's own “on oxygen” to the next “off”,"
            " air break or lost supply"
        ),
        grids=(
            *grid(_("Minutes"), head, rows),
            *grid(_("Oxygen periods"), (_("Who"), _("On"), _("Off"), _("Minutes")), periods),
        ),
        caution=_(RUNS),
    )  # fmt: skip


def dose(figures: Figures) -> Sum:
    """Explain the oxygen dose of each person."""
    rows = []
    for one in figures.people:
        cns = _("outside the table") if one.dose.cns_fraction is None else f"{figure(100 * one.dose.cns_fraction, 1)} %"
        planned = NOTHING if one.planned_dose is None else figure(one.planned_dose.uptd)
        rows.append(
            (one.label, figure(one.dose.uptd), figure(one.dose.uptd_on_oxygen), planned, cns, figure(one.dose.esot, 0))
        )
    head = (
        _("Who"), _("UPTD so far") if figures.ended_at is None else _("UPTD"), _("of it on oxygen"),
        _("UPTD if the plan is followed"), _("CNS, of limits of divers at work"), _("ESOT, an extra"),
    )  # fmt: skip
    pieces = tuple(
        part for one in figures.people for part in grid(
            _("Pieces of %(who)s") % {"who": one.label},
            (_("From fsw"), _("To fsw"), _("Minutes"), _("Gas"), _("pO2 from, ata"), _("pO2 to, ata"), _("UPTD")),
            _pieces(one),
        )
    )  # fmt: skip
    convention = figures.people[0].dose.convention.title if figures.people else NOTHING
    return Sum(
        key="dose", title=_("Oxygen dose"),
        formula=_(
            "UPTD = Σ ∫ ((p - 0.5) / 0.5)^(5/6) dt where p > 0.5 ata; of a straight change of depth from p0 to p1 in t"
            " minutes: 3/11 · t / (p1 - p0) · (((p1 - 0.5) / 0.5)^(11/6) - ((p0 - 0.5) / 0.5)^(11/6));"
            " p = O2 fraction x (depth + 33) / 33; CNS = ∫ dt / limit(p), no percentage above 1.6 ata;"
            " ESOT = ∫ p^2.285 dt above 0.5 ata"
        ),
        given=(Line(_("convention"), convention), Line(_("exponent"), "5/6"), Line(_("oxygen in chamber air"), "21", "%")),
        grids=(*grid(_("Dose"), head, rows), *pieces), rests_on=(*rests_on("dose"), *rests_on("gases"), *rests_on("conventions", "navy")),
        remarks=(_("The depth runs straight between two logged lines. Oxygen in the chamber air above 21 % is not counted."),),
        caution=_(DOSES), worksheet="segment_dose",
    )  # fmt: skip


def _pieces(one: PersonFigures) -> Iterator[tuple[str, ...]]:
    for part in one.segments:
        (history,) = exposures([part], fractions(), one.dose.convention)
        yield (
            f"{part.start_fsw:.4g}", f"{part.end_fsw:.4g}", figure(part.minutes), part.gas, figure(history.start, 4),
            figure(history.end, 4), figure(pulmonary_dose([history], pulmonary())),
        )  # fmt: skip


def tender_oxygen(figures: Figures) -> Sum:
    """Explain the oxygen that each tender owes, in the revisions side by side."""
    rows = []
    for person in figures.people:
        for one in person.owed:
            if one.at_depth_min is None:
                asked = not_stated()
            elif one.total_min == 0:
                asked = _("none: chamber air throughout")
            else:
                words = _("%(at)s min at %(depth)s fsw, then to the surface")
                asked = words % {"at": figure(one.at_depth_min), "depth": figure(one.depth_fsw)}
            rows.append(
                (
                    person.label, f"{revision_words(one.revision)}, {figure(one.look_back_h)} h",
                    said(answer=one.previous_counts), asked, figure(one.total_min), figure(one.breathed_min),
                    figure(one.left_min), _("yes") if person.whole_run else _("no: not stated for part of a run"),
                )
            )  # fmt: skip
    head = (
        _("Tender"), _("Revision, look-back"), _("Previous exposure counts"), _("Oxygen asked"), _("In all, min"),
        _("Breathed there and shallower, min"), _("Left, min"), _("Inside for the whole run"),
    )  # fmt: skip
    taken = sum(figures.extensions.values())
    return Sum(
        key="tender-oxygen", title=_("Oxygen that a tender owes"), given=(Line(_("extensions, all depths"), str(taken)),),
        formula=_(
            "minutes at the depth of the rule by table and extensions, more after a previous exposure inside the"
            " look-back (exactly the look-back no longer counts), then oxygen to the surface; left = in all - breathed"
        ),
        grids=grid(_("Asked and breathed"), head, rows),
        remarks=(_("At sea level up to 2 499 ft. The handbook has columns for higher places; they are not here, as no"
                   " print of them was seen: ask the physician."),),
        rests_on=rests_on("tender"), caution=f"{_(RUNS)} {_(DOSES)}", worksheet="tender_oxygen",
    )  # fmt: skip


def waits(figures: Figures) -> Sum:
    """Explain the waits after the run, each person from when that person surfaced."""
    rows = [
        (
            person.label, wait_words(one.purpose), revision_words(one.revision),
            not_stated() if one.hours is None else f"{figure(one.hours)} h",
            NOTHING if one.until is None else clock(one.until, figures.zone), _(one.about) if one.about else "",
        )
        for person in figures.people
        for one in _stated(person.waits)
    ]  # fmt: skip
    head = (_("Who"), _("Before, or for"), _("Revision"), _("Hours"), _("Until, site time"), _("What it says"))
    remarks = [
        _("Elapsed hours, whatever the clocks do in between; each time is shown with the offset of its own day.")
    ]
    if figures.waits_projected:
        remarks.append(_("Whoever is still inside: from the planned time of reaching the surface, which may move."))
    return Sum(
        key="waits", title=_("Waits afterwards"),
        given=(Line(_("reached surface") if not figures.waits_projected else _("planned to reach surface"),
                    clock(figures.waits_from, figures.zone)),),
        formula=_("until = reached the surface + elapsed hours of the revision"), grids=grid(_("Waits"), head, rows),
        remarks=tuple(remarks), rests_on=rests_on("waits"), caution=_(RUNS), worksheet="waits",
    )  # fmt: skip


def _stated(found: tuple[Wait, ...]) -> tuple[Wait, ...]:
    """Return the waits of which at least one revision says something, and one line where none does."""
    stated = {one.purpose for one in found if one.hours is not None}
    return tuple(one for one in found if one.purpose in stated) or found
