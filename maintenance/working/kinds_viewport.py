"""Viewport inspection: flaws counted by sort, and how long its design life still runs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as say
from django.utils.translation import gettext_lazy as _

from facility.reference import load
from maintenance.compute.counters import Reading
from maintenance.compute.readings import Outcome
from maintenance.compute.viewport_life import Viewport, ViewportError, ViewportLaw, viewport_life
from maintenance.reference import FOLDER
from maintenance.working.kinds import (
    Answered,
    Derived,
    Detail,
    KindOfWork,
    Limit,
    Line,
    Look,
    Quantity,
    Sum,
    WorkError,
    told,
)
from maintenance.working.kinds_pressure import text

if TYPE_CHECKING:
    from maintenance.working.kinds import Words

COUNT = ("",)
FILE = "viewports.toml"
SPAN_DAYS = 3650
FLAWS = (
    ("crazing", _("Crazes")), ("cracks", _("Cracks")), ("deformation", _("Permanent deformations")),
    ("discolouration", _("Discoloured places")), ("chips", _("Chips")), ("scratches", _("Scratches")),
    ("gouges", _("Gouges")), ("burns", _("Burns")), ("pits", _("Pits")),
)  # fmt: skip
NONE_ALLOWED = ("crazing", "cracks", "deformation")


def _flaw(name: str, label: Words) -> Quantity:
    if name in NONE_ALLOWED:
        return Quantity(name, label, COUNT, high=Limit.of("viewport.cracks"))
    return Quantity(name, label, COUNT, about=_("The most that the standard's tables allow goes beside it."))


def _law(given: Answered) -> ViewportLaw:
    table = load(FOLDER / "viewports.toml")
    years, cycles = given.number("life_years"), given.number("life_cycles")
    return ViewportLaw(
        int(table["life.years"].number if years is None else years),
        table["life.cycles"].number if cycles is None else cycles,
        int(table["storage.years"].number), int(table["life.more_years"].number),
    )  # fmt: skip


def _life(given: Answered) -> Sum | None:
    unlimited = _unjudged(given)
    made = given.details.get("fabricated_on")
    if made is None:
        return (
            Sum(say("each sort of flaw against its limit"), derived=unlimited, remarks=_remarks(unlimited))
            if unlimited
            else None
        )
    law = _law(given)
    counts = list(given.counts)
    now = given.number("cycles_now")
    if now is not None:
        counts = [one for one in counts if one.on < given.done_on and one.value <= now] + [Reading(given.done_on, now)]
    viewport = Viewport(made, given.details.get("installed_on"), bool(given.details.get("stored_as_asked")))
    try:
        life = viewport_life(viewport, counts, law, given.done_on, SPAN_DAYS)
    except ViewportError as error:
        raise WorkError("installed_on", str(error)) from None
    over = Derived(
        "life", say("Design life"), None, "", outcome=Outcome.OUTSIDE if life.over(given.done_on) else Outcome.WITHIN
    )
    lines = [
        Line(say("Years count from"), life.counted_from.isoformat()), Line(say("because"), str(life.because)),
        Line(say("Ends by years"), life.ends_by_years.isoformat()),
        Line(say("Ends by cycles"), life.ends_by_cycles.isoformat() if life.ends_by_cycles else say("not told: no rate")),
        Line(say("First of the two"), life.ends_on.isoformat()),
        Line(say("Outermost, under inspection in a protected place"), life.outermost_on.isoformat()),
    ]  # fmt: skip
    if now is not None:
        lines.append(Line(say("Cycles left"), text(law.cycles - now, 0)))
    typed = given.number("life_years") is not None and given.number("life_cycles") is not None
    rests = () if typed else tuple(load(FOLDER / "viewports.toml").values())
    formula = say("life ends after the design years or at the design cycles, whichever comes first;"
                  " day of the cycles = day of the count + cycles left / cycles a day")  # fmt: skip
    return Sum(formula, tuple(lines), (over, *unlimited), rests, _remarks(unlimited))


def _unjudged(given: Answered) -> tuple[Derived, ...]:
    """Return the flaws that were found without a limit beside them: they say nothing yet."""
    found: list[Derived] = []
    for name, label in FLAWS:
        count = given.number(name)
        if count is not None and count > 0 and name in given.unlimited:
            found.append(Derived(f"{name}_unjudged", str(label), count, "", outcome=Outcome.UNREAD))
    return tuple(found)


def _remarks(unlimited: tuple[Derived, ...]) -> tuple[str, ...]:
    if not unlimited:
        return ()
    names = ", ".join(one.label for one in unlimited)
    return (say("%(names)s: found, and no limit given. Give the limit of the standard's tables, or let a qualified"
                " inspector decide before pressurising.") % {"names": names},)  # fmt: skip


VIEWPORT = KindOfWork(
    "viewport",
    readings=(*(_flaw(name, label) for name, label in FLAWS), Look("seat", _("Rings, bolts, seats and seals sound"))),
    details=(
        Detail("flaws", _("Size and place of each flaw"), "lines", about=_("One a line, for example: scratch, 0.4 mm deep, 20 mm, at 4 o'clock.")),
        Detail("tables", _("Tables and edition the limits are from"), carry=True),
        Detail("serial", _("Serial number of the viewport"), carry=True),
        Detail("fabricated_on", _("Fabricated on"), "day", carry=True),
        Detail("installed_on", _("First installed on"), "day", carry=True),
        Detail("stored_as_asked", _("Was stored as the standard asks until then"), "yes",
               about=told(_("At most {warmest} °C, out of sunlight, protected."), FILE, warmest="storage.warmest"), carry=True),
        Detail("life_years", _("Design life on its certificate"), "number", unit=_("years"), about=told(_("Empty: {years} years."), FILE, years="life.years"), carry=True),
        Detail("life_cycles", _("Design life on its certificate"), "number", unit=_("cycles"), about=told(_("Empty: {cycles} cycles."), FILE, cycles="life.cycles"), carry=True),
        Detail("cycles_now", _("Cycles so far"), "number", about=_("Running total on the day of the inspection.")),
    ),
    reckon=_life, equipment=("viewport",),
    caution=told(_("Clean with a mild detergent and water of at most {water} °C, no solvents, no power tools. A flaw beyond the"
              " standard's tables takes the viewport out of service; a qualified inspector decides in doubt."), "work_tests.toml", water="viewport.water"),
)  # fmt: skip
