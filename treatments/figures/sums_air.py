"""Explained: carbon dioxide, ventilation, temperature and gas of a run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from treatments.compute.atmosphere import fahrenheit
from treatments.compute.ventilation import scfm
from treatments.figures.sum import NOTHING, Line, Sum, clock, figure, grid
from treatments.figures.unmeasured import apart_k, share, told
from treatments.reference.laws import atmosphere
from treatments.worksheets.common import CHAMBER, RUNS, SUPPLY, rests_on, said

if TYPE_CHECKING:
    from collections.abc import Iterator

    from treatments.figures.shape import BankUsed, Figures, GasUsed, Ventilation


def carbon_dioxide(figures: Figures) -> Sum:
    """Explain the logged readings of carbon dioxide."""
    rows = [
        (
            clock(one.at, figures.zone), NOTHING if one.depth_fsw is None else figure(one.depth_fsw),
            figure(one.sev_percent, 3), figure(one.mmhg),
            _("within the limit") if one.within else _("above the limit"),
            NOTHING if one.depth_fsw is None else figure(one.limit_sev / (1 + one.depth_fsw / atmosphere().fsw), 3),
        )
        for one in figures.co2
    ]  # fmt: skip
    head = (_("At"), _("Depth, fsw"), _("% SEV"), _("mmHg"), _("Against the limit"), _("Allowed reading there, %"))
    return Sum(
        key="co2", title=_("Carbon dioxide"),
        formula=_("typed as surface equivalent (SEV); mmHg = SEV / 100 x 760; allowed reading = limit x 33 / (D + 33)"),
        grids=grid(_("Readings"), head, rows), rests_on=rests_on("atmosphere", "co2", "atmosphere"), caution=_(CHAMBER),
        remarks=() if rows else (_("No reading of carbon dioxide in the log."),), worksheet="co2",
    )  # fmt: skip


def ventilation(figures: Figures) -> Sum:
    """Explain the ventilation asked for, its stops and what makes them good."""
    found = figures.ventilation
    if found is None:
        return _ventilation((), (), (_("The run has not left surface, or nothing is logged yet."),))
    people = found.people
    given = (
        Line(_("depth"), figure(found.depth_fsw), "fsw"),
        Line(_("on chamber air, at rest"), str(people.air_rest)),
        Line(_("on chamber air, at work"), str(people.air_working)),
        Line(_("on oxygen by mask, at rest"), str(people.mask_rest)),
    )
    return _ventilation(given, (*_logged(figures, found), *_stops(found)), (), found)


def _ways(found: Ventilation) -> Iterator[tuple[str, ...]]:
    for one in found.asked:
        yield (
            _("all at rest") if one.at_rest else _("tenders on air at work"),
            _("overboard dump") if one.dump else _("no dump"), figure(one.acfm), figure(one.scfm),
            figure(one.air_rates_acfm),
            _("below the air rates: look") if one.acfm < one.air_rates_acfm else "",
            figure(found.asked_scf[one.at_rest, one.dump], 0),
        )  # fmt: skip


def _ventilation(
    given: tuple[Line, ...], results: tuple[Line, ...], remarks: tuple[str, ...], found: Ventilation | None = None
) -> Sum:
    rows = () if found is None else tuple(_ways(found))
    head = (
        _("Who is at rest"), _("Mask exhaust"), _("acfm"), _("scfm"), _("Air rates for all, acfm"), _("Remark"),
        _("Run so far after its descent, scf"),
    )  # fmt: skip
    return Sum(
        key="ventilation", title=_("Ventilation asked for"), given=given, results=results, remarks=remarks,
        formula=_(
            "2 and 4 acfm for each on chamber air at rest and at work; 12.5 for each at rest on a mask without dump, and"
            " then only these are counted; with a dump the air rates for all; scfm = acfm x (D + 33) / 33. A stop of"
            " 5 min or less in 30 min is made good at twice the rate for as long as it lasted."
        ),
        grids=grid(_("Four ways of counting, at the last minute"), head, rows), rests_on=rests_on("ventilation"),
        caution=_(CHAMBER), worksheet="ventilation",
    )  # fmt: skip


def _logged(figures: Figures, found: Ventilation) -> tuple[Line, ...]:
    if found.logged_acfm is None:
        return (Line(_("ventilation logged"), _("none")),)
    flow = scfm(found.logged_acfm, found.depth_fsw, atmosphere().fsw)
    return (
        Line(_("ventilation last logged"), figure(found.logged_acfm), "acfm"),
        Line(_("the same at this depth"), figure(flow), "scfm"),
        Line(_("logged at"), clock(found.logged_at, figures.zone)),
    )


def _stops(found: Ventilation) -> tuple[Line, ...]:
    stopped = Line(
        _("stopped in the last 30 min of the run, by the logged flows of 0"), figure(found.stopped_min), "min"
    )
    if not found.stopped_min:
        return (stopped,)
    if found.catch_up_acfm is None or found.catch_up_min is None:
        return (stopped, Line(_("after it"), _("longer than the rule allows; not stated, ask the physician")))
    flow = scfm(found.catch_up_acfm, found.depth_fsw, atmosphere().fsw)
    return (
        stopped,
        Line(_("then, at work and without dump"), f"{figure(found.catch_up_acfm)} acfm, {figure(flow)}", "scfm"),
        Line(_("for"), figure(found.catch_up_min), "min"),
    )


def temperature(figures: Figures) -> Sum:
    """Explain the temperature band against the length of the run."""
    found = figures.temperature
    given: tuple[Line, ...] = ()
    results: tuple[Line, ...] = ()
    if found is not None:
        given = (
            Line(
                _("inside, last logged"),
                f"{figure(found.celsius, 1)} °C = {figure(fahrenheit(found.celsius), 1)}",
                "°F",
            ),
            Line(_("highest logged"), figure(found.highest_celsius, 1), "°C"),
            Line(_("length with extensions, from leaving the surface"), figure(found.run_min), "min"),
        )
        longest = _("no limit") if found.longest_min is None else f"{figure(found.longest_min)} min"
        results = (
            Line(_("band"), found.band),
            Line(_("longest stay of the band"), longest),
            Line(_("the table is listed for the band"), said(answer=found.listed)),
            Line(_("the run fits the longest stay"), said(answer=found.within)),
        )
    return Sum(
        key="temperature", title=_("Temperature inside"), given=given, results=results,
        formula=_("the band of the reading names tables and a longest stay; between two bands the hotter one counts"),
        remarks=() if found else (_("No temperature logged, or no table."),),
        rests_on=rests_on("atmosphere", "temperature"), caution=f"{_(CHAMBER)} {_(RUNS)}", worksheet="temperature_band",
    )  # fmt: skip


def gas(figures: Figures) -> Sum:
    """Explain the gas drawn against what was to be expected."""
    rows = [
        (
            one.gas, figure(one.expected_scf, 1), figure(one.expected_litres, 0),
            _drawn(one), NOTHING if one.percent is None else share(one.percent, one.expected_litres, one.unmeasured),
        )
        for one in figures.gas
    ]  # fmt: skip
    head = (_("Gas"), _("Expected, scf"), _("Expected, L"), _("Drawn, L"), _("Drawn of expected"))
    banks = [
        (
            bank.name, bank.gas, bank.before or NOTHING, clock(bank.before_at, figures.zone), bank.after or NOTHING,
            clock(bank.after_at, figures.zone), _drawn(bank),
        )
        for one in figures.gas
        for bank in one.banks
    ]  # fmt: skip
    bank_head = (_("Bank"), _("Gas"), _("Before"), _("Read at"), _("After, or last"), _("Read at"), _("Drawn, L"))
    return Sum(
        key="gas", title=_("Gas drawn against expected"),
        formula=_(
            "oxygen expected = 0.3 acfm x Σ ∫ (D + 33) / 33 dt over everybody's minutes on oxygen; air expected = lock volume"
            " x deepest D / 33 + logged ventilation (asked for, where none is logged); drawn = content before - content after"
            " by the real-gas law, litres at 15 °C and 1 atm"
        ),
        grids=(*grid(_("Gas"), head, rows), *grid(_("Banks of the plan"), bank_head, banks)),
        rests_on=rests_on("supply", "mask_demand", "litres", "atmosphere", "unmeasured"), remarks=_gas_remarks(figures.gas),
        caution=_(SUPPLY), worksheet="gas_demand",
    )  # fmt: skip


def _drawn(one: BankUsed | GasUsed) -> str:
    if one.used_litres is None:
        return NOTHING
    apart = one.unmeasured
    return figure(one.used_litres, 0) if apart is None else told(one.used_litres, apart.low_litres, apart.high_litres)


def _gas_remarks(found: tuple[GasUsed, ...]) -> tuple[str, ...]:
    remarks = [
        _("A leak, a wrong gas or a wrong hook-up shows as a difference: ask what explains it. Cylinders changed in between"
          " spoil the sum."),
    ]  # fmt: skip
    remarks += [
        _("%(bank)s: temperature not measured: taken as %(celsius)s °C at both readings. If the gas was up to %(apart)s °C"
          " warmer or colder at one of them, the amount drawn lies in the span told.")
        % {"bank": bank.name, "celsius": figure(bank.unmeasured.taken_c, 1), "apart": figure(apart_k(), 1)}
        for one in found for bank in one.banks if bank.unmeasured is not None
    ]  # fmt: skip
    if any(one.used_litres is None for one in found):
        remarks.append(_("Not known where a bank was not read before and after: no bank in the plan, or no reading."))
    return tuple(remarks)
