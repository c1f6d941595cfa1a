"""What a run of a table would demand, against the handbook's figures and laws that every plan must keep.

Handbook: U.S. Navy Diving Manual, revision 4 with change A. Where a figure is not printed it was calculated apart from
this program, by hand or in a table of its own.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from treatments.compute.demand import Flask, flasks_needed, held
from treatments.compute.plan_asking import Asking, Locks, PlanDemandError, Rules
from treatments.compute.plan_demand import (
    PlanDemand,
    kilograms,
    last_minutes,
    litres,
    most_extensions,
    plan_demand,
)
from treatments.compute.profile import ProfileError
from treatments.compute.tables import OXYGEN, Segment
from treatments.compute.tender import rule_for
from treatments.reference import FILES, figures, table
from treatments.reference.laws import atmosphere, rates, tender_rules

LOCKS = Locks(300, 125, 2)
PLAIN = Asking(
    patients=1, tenders=1, extensions={}, minute_volume=0.3, emergency_minutes=15, emergency_volume=1.4,
    reserve_percent=20,
)  # fmt: skip


def rules(key: str) -> Rules:
    return Rules(rates(), atmosphere(), rule_for(key, tender_rules()))


def demand(key: str, locks: Locks = LOCKS, **more: Any) -> PlanDemand:
    """Return the demand of a shipped table for one patient and one tender unless said otherwise."""
    return plan_demand(table(key), locks, replace(PLAIN, **more), rules(key))


@pytest.mark.parametrize(
    ("key", "extensions", "by_clock"),
    [
        ("TT6", {60: 2, 30: 2}, 485), ("TT6A", {}, 350), ("TT6A-older", {}, 319), ("TT9", {}, 102.25),
        ("TT1A", {}, 472), ("TT2A", {}, 813), ("TT3", {}, 1293), ("TT4", {}, 2436),
    ],
)  # fmt: skip
def test_the_longest_run_has_the_total_that_the_handbook_prints(
    key: str, extensions: dict[float, int], by_clock: float
) -> None:
    """Printed totals (from memory): 8 h 05 with all extensions, 5 h 50, 5 h 19, 7 h 52, 13 h 33, 21 h 33, 40 h 36."""
    assert demand(key, extensions=extensions).run.table_minutes == by_clock


@pytest.mark.parametrize(
    ("key", "extensions", "lasts"),
    [
        ("TT5", {}, 138), ("TT6", {}, 288), ("TT6", {60: 2, 30: 2}, 488), ("TT6", {60: 1}, 313),
        # the descent counts in the first stop of these
        ("TT6A", {60: 2, 30: 2}, 550), ("TT1A", {}, 472),
        # 2.25 min down, 102.25 min by the clock: 104.5, and a plan counts whole minutes
        ("TT9", {}, 105),
    ],
)  # fmt: skip
def test_a_plan_lasts_from_leaving_the_surface_in_whole_minutes(
    key: str, extensions: dict[float, int], lasts: int
) -> None:
    """Hand sums: descent at 20 fsw/min before the clock of an oxygen table; 25 and 75 min for an extension."""
    assert demand(key, extensions=extensions).run_min == lasts


@pytest.mark.parametrize(
    ("key", "extensions", "minutes", "ata_min", "scf"),
    [
        ("TT5", {}, 120, 265.45, 79.6), ("TT5", {30: 2}, 160, 341.82, 102.5), ("TT6", {}, 240, 512.73, 153.8),
        ("TT6A", {}, 240, 512.73, 153.8), ("TT6", {60: 2, 30: 2}, 400, 854.55, 256.4),
        ("TT6A", {60: 2, 30: 2}, 400, 854.55, 256.4), ("TT9", {}, 92.25, 216.51, 65.0),
        ("OX-2.0", {}, 90, 180, 54.0), ("OX-2.4", {}, 90, 216, 64.8), ("OX-2.5", {}, 90, 225, 67.5),
        ("TT1A", {}, 0, 0, 0),
    ],
)  # fmt: skip
def test_oxygen_of_a_patient(
    key: str, extensions: dict[float, int], minutes: float, ata_min: float, scf: float
) -> None:
    """Calculated apart from this program: 0.3 acfm x the integral of (D + 33) / 33 over the minutes on oxygen."""
    found = demand(key, tenders=0, extensions=extensions).oxygen
    assert found.patient_min == minutes
    assert found.patient_ata_min == pytest.approx(ata_min, abs=0.01)
    assert found.patient_scf == found.total_scf == pytest.approx(scf, abs=0.1)


@pytest.mark.parametrize(("volume", "scf"), [(0.3, 153.8), (0.25, 128.2), (0.5, 256.4)])
def test_oxygen_follows_the_minute_volume(volume: float, scf: float) -> None:
    """Table 6 at three minute volumes, calculated apart from this program."""
    assert demand("TT6", minute_volume=volume).oxygen.patient_scf == pytest.approx(scf, abs=0.1)


@pytest.mark.parametrize(
    ("key", "extensions", "previous", "minutes", "ata_min", "scf"),
    [
        ("TT5", {}, False, 30, 43.64, 13.1), ("TT5", {}, True, 50, 81.82, 24.5),
        ("TT6", {60: 1}, False, 60, 100.91, 30.3), ("TT6", {60: 2}, False, 90, 158.18, 47.5),
        ("TT6", {60: 1}, True, 120, 215.45, 64.6), ("TT6", {60: 1, 30: 1}, True, 150, 272.73, 81.8),
        ("TT6A", {}, False, 90, 158.18, 47.5), ("TT6A", {30: 2}, False, 120, 215.45, 64.6),
        ("TT6A", {}, True, 150, 272.73, 81.8), ("TT6A", {60: 2, 30: 2}, True, 180, 330.00, 99.0),
        ("TT9", {}, False, 17.25, 39.24, 11.8),
    ],
)  # fmt: skip
def test_oxygen_owed_to_a_tender(  # one column of the printed table each
    key: str, extensions: dict[float, int], previous: bool, minutes: float, ata_min: float, scf: float
) -> None:
    """Minutes p. 21-26; volumes calculated apart from this program at 0.3 acfm."""
    found = demand(key, extensions=extensions, previous=previous).oxygen
    assert found.tender_min == minutes
    assert found.tender_ata_min == pytest.approx(ata_min, abs=0.01)
    assert found.tender_scf == pytest.approx(scf, abs=0.1)
    assert found.total_scf == pytest.approx(found.patient_scf + (found.tender_scf or 0))


def test_where_the_handbook_is_silent_on_the_tender_no_total_is_invented() -> None:
    """Table 4 states oxygen before leaving 30 fsw but not on the way up; table 1A and 2.4 ATA are not named."""
    for key in ("TT4", "TT1A", "OX-2.4"):
        found = demand(key)
        assert (found.oxygen.total_scf, found.oxygen.tender_scf, found.oxygen_reserve_scf) == (None, None, None)
        assert demand(key, tenders=0).oxygen.total_scf is not None
    # what a site asks for instead counts, never less than the handbook states
    assert demand("TT1A", tender_minutes=0).oxygen.total_scf == 0
    with pytest.raises(PlanDemandError, match="tender_minutes: 119 min is not taken. Allowed: 120 min or more"):
        demand("TT4", tender_minutes=119)
    with pytest.raises(PlanDemandError, match="0 to 285 min"):
        demand("TT6", tender_minutes=286)


def test_the_last_minutes_of_table_six_are_those_that_a_tender_owes() -> None:
    """30 min at 30 fsw and the ascent of 30 min, p. 21-26."""
    run = demand("TT6").run
    assert last_minutes(run, 60) == (Segment(30, 30, 30, OXYGEN), Segment(30, 0, 30, OXYGEN))
    assert last_minutes(run, 15) == (Segment(15, 0, 15, OXYGEN),)
    assert last_minutes(run, 0) == ()


def test_ventilation_of_a_whole_table_six() -> None:
    """Calculated apart from this program: 8 267.7 scf; at a flat 6 acfm, as with a dump, 3 673.6 scf."""
    assert demand("TT6").air.ventilation_scf == pytest.approx(8267.7, abs=0.1)
    assert demand("TT6", tender_minutes=60).air.ventilation_scf == pytest.approx(8267.7, abs=0.1)
    # the flat rate takes the tender as working throughout, as one who owes no oxygen does
    silent = plan_demand(table("TT6"), LOCKS, replace(PLAIN, dump=True), Rules(rates(), atmosphere(), None))
    assert silent.air.ventilation_scf == pytest.approx(3673.6, abs=0.1)


def test_filling_the_locks_to_165_fsw_is_what_the_primary_supply_counts() -> None:
    """Primary supply of 300 and 125 cf: 48 140 scf with 45 390 for ventilation, so 2 750 for the locks (22-4)."""
    air = demand("TT6A", outer_fills=2).air
    assert air.filling_scf == pytest.approx(48_140 - 45_390)
    assert (air.inner_scf, air.outer_each_scf) == (1500, 625)
    assert demand("TT6A", outer_fills=2, medical_fills=6).air.filling_scf == pytest.approx(2750 + 6 * 2 * 5)


def test_flasks_for_the_primary_supply() -> None:
    """Flasks of 8.0 cf, 3 000 psig, down to 220: 1 512.93 scf each, 32 for 48 140 scf (p. 7-14)."""
    flask = Flask(8.0, 3000, 220)
    air = demand("TT6A", outer_fills=2).air
    assert held(flask, atmosphere()) == pytest.approx(1512.93, abs=0.01)
    assert flasks_needed(air.filling_scf + 45_390, flask, atmosphere()) == 32


def test_emergency_air_is_kept_back_and_not_drawn() -> None:
    """Hand sum: 2 people x 1.4 acfm x 15 min x (60 + 33) / 33 = 118.36 scf; a fifth of the demand beside it."""
    found = demand("TT6")
    assert found.air.emergency_scf == pytest.approx(118.36, abs=0.01)
    assert found.air_reserve_scf == pytest.approx(118.36 + 0.2 * found.air.demand_scf, abs=0.01)
    assert found.air.demand_scf == pytest.approx(found.air.filling_scf + found.air.ventilation_scf)


def test_a_large_party_on_air_is_not_planned_below_the_air_rates() -> None:
    """One on oxygen at rest asks for 12.5 acfm (p. 22-16), but five tenders at work and one at rest for 22."""
    air = demand("TT6", tenders=5, tender_minutes=60).air
    assert air.masked_scf < air.ventilation_scf
    assert air.ventilation_scf >= air.air_rates_scf


def test_litres_and_kilograms_agree_with_pint() -> None:
    """pint: a cubic foot in litres. Density of oxygen at 15 degC and 1 atm 1.3542 kg/m3 (from memory: 1.354)."""
    foot = float(figures("supply")["litres_per_cubic_foot"].number)
    exact = pint.UnitRegistry().Quantity(256.4, "foot ** 3").to("liter").magnitude
    assert litres(256.4, foot) == pytest.approx(exact, abs=1)
    assert litres(256.4, foot) >= exact, "a demand is never cut"
    assert kilograms(256.4, foot, 1.3542) == pytest.approx(exact / 1000 * 1.3542)


@pytest.mark.parametrize(
    ("key", "more", "says"),
    [
        ("TT6", {"patients": 0, "tenders": 0}, "patients: 0 is not taken. Allowed: at least one person"),
        ("TT6", {"locks": Locks(0)}, "chamber: 0 cf is not taken"),
        ("TT6", {"locks": Locks(300)}, "outer_fills: 2 is not taken. Allowed: 0; the chamber has no outer lock"),
        ("TT6", {"locks": Locks(300, 125), "medical_fills": 1}, "medical_fills: 1 is not taken"),
        ("TT6", {"reserve_percent": -1}, "reserve_percent: -1 is not taken. Allowed: 0 or more"),
    ],
)
def test_what_nobody_can_plan_with_is_named(key: str, more: dict[str, Any], says: str) -> None:
    with pytest.raises(PlanDemandError, match=says):
        demand(key, **more)


def test_more_extensions_than_the_table_states_are_for_the_physician() -> None:
    with pytest.raises(ProfileError, match="extensions at 60 fsw: 3 is not taken. Allowed: 0 to 2;.*physician"):
        demand("TT6", extensions={60: 3})


KEYS = st.sampled_from(sorted(FILES))
PARTY = st.integers(0, 6)


@st.composite
def askings(draw: st.DrawFn) -> tuple[str, Asking]:
    """A shipped table with a party, extensions that it allows, and figures of a house."""
    key = draw(KEYS)
    allowed = most_extensions(table(key))
    return key, replace(
        PLAIN,
        patients=draw(PARTY), tenders=draw(st.integers(1, 4)), dump=draw(st.booleans()), previous=draw(st.booleans()),
        extensions={depth: draw(st.integers(0, most)) for depth, most in allowed.items()},
        outer_fills=draw(st.integers(0, 5)), medical_fills=draw(st.integers(0, 9)),
        minute_volume=draw(st.floats(0.1, 1)), reserve_percent=draw(st.integers(0, 100)),
    )  # fmt: skip


def of(one: tuple[str, Asking], **more: Any) -> PlanDemand:
    return plan_demand(table(one[0]), LOCKS, replace(one[1], **more), rules(one[0]))


def gas(found: PlanDemand) -> tuple[float, ...]:
    """Return every amount that may only grow; oxygen not stated counts as nothing on both sides."""
    return (found.oxygen.total_scf or 0, found.air.demand_scf, found.air.emergency_scf, found.air_reserve_scf,
            found.oxygen_reserve_scf or 0)  # fmt: skip


def never_less(more: tuple[float, ...], less: tuple[float, ...]) -> bool:
    return all(a >= b - 1e-6 for a, b in zip(more, less, strict=True))


@settings(max_examples=150, deadline=None)
@given(askings())
def test_more_people_never_need_less_gas(one: tuple[str, Asking]) -> None:
    found = of(one)
    assert never_less(gas(of(one, patients=one[1].patients + 1)), gas(found))
    assert never_less(gas(of(one, tenders=one[1].tenders + 1)), gas(found))


@settings(max_examples=150, deadline=None)
@given(askings(), st.data())
def test_one_extension_more_is_never_shorter_and_takes_no_less(one: tuple[str, Asking], data: st.DataObject) -> None:
    allowed = {depth: most for depth, most in most_extensions(table(one[0])).items() if one[1].extensions[depth] < most}
    if not allowed:
        return
    depth = data.draw(st.sampled_from(sorted(allowed)))
    extended = of(one, extensions={**one[1].extensions, depth: one[1].extensions[depth] + 1})
    found = of(one)
    assert extended.run_min > found.run_min
    assert extended.run_min >= extended.run.run_minutes
    assert never_less((extended.oxygen.total_scf or 0,), (found.oxygen.total_scf or 0,))


@settings(max_examples=150, deadline=None)
@given(askings())
def test_a_dump_never_asks_for_more_ventilation(one: tuple[str, Asking]) -> None:
    dumped, kept = of(one, dump=True), of(one, dump=False)
    assert dumped.air.ventilation_scf <= kept.air.ventilation_scf + 1e-6
    assert kept.air.ventilation_scf >= max(kept.air.masked_scf, kept.air.air_rates_scf) - 1e-6


@settings(max_examples=100, deadline=None)
@given(askings(), st.integers(0, 5))
def test_each_transfer_adds_one_fill_of_its_lock(one: tuple[str, Asking], more: int) -> None:
    found, with_more = of(one), of(one, outer_fills=one[1].outer_fills + more)
    added = with_more.air.demand_scf - found.air.demand_scf
    assert added == pytest.approx(more * found.air.outer_each_scf, abs=1e-6)
