"""Tender oxygen and waits against the handbook, pressures against pint, instants against zoneinfo."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.treatments.compute.asking import dose
from treatments.compute.demand import oxygen_ata_minutes
from treatments.compute.pressure import PressureError, from_kpa_gauge, to_kpa_gauge
from treatments.compute.tender import TenderError, breathed, counts_as_previous, owed, rule_for
from treatments.compute.waits import Wait, WaitError, instant, waits, zone
from treatments.reference import table
from treatments.reference.laws import atmosphere, look_backs, scales, tender_rules, wait_rules

REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()
MSW, WORKING, STANDARD = scales().values()
INSTANTS = st.integers(0, 20 * 365 * 24 * 60).map(
    lambda minutes: datetime(2020, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
)

#: revision 4A p. 21-26: table, extensions, previous exposure -> minutes at depth, in all; calculated: ata min, UPTD
OWED = [
    ("TT5", 0, False, 0, 30, 43.64, 51.14),
    ("TT5", 2, False, 0, 30, 43.64, 51.14),
    ("TT5", 0, True, 20, 50, 81.82, 98.57),
    ("TT6", 1, False, 30, 60, 100.91, 122.28),
    ("TT6", 2, False, 60, 90, 158.18, 193.42),
    ("TT6", 1, True, 90, 120, 215.45, 264.55),
    ("TT6", 2, True, 120, 150, 272.73, 335.69),
    ("TT6A", 0, False, 60, 90, 158.18, 193.42),
    ("TT6A", 2, False, 90, 120, 215.45, 264.55),
    ("TT6A", 1, True, 120, 150, 272.73, 335.69),
    ("TT6A-older", 2, True, 150, 180, 330.00, 406.83),
    ("TT9", 0, False, 15, 17.25, 39.24, 49.47),
]


@pytest.mark.parametrize("row", OWED, ids=str)
def test_oxygen_owed_to_a_tender(row: tuple[str, int, bool, float, float, float, float]) -> None:
    key, extensions, previous, at_depth, total, ata_minutes, uptd = row
    rule = rule_for(key, tender_rules())
    assert rule is not None
    found = owed(rule, extensions, most_extensions=4, previous=previous)
    assert (found.at_depth_min, found.total_min) == (at_depth, total)
    segments = breathed(found, rule)
    assert oxygen_ata_minutes(segments, atmosphere()) == pytest.approx(ata_minutes, abs=0.005)
    assert dose(segments) == pytest.approx(uptd, abs=0.01)


@pytest.mark.parametrize("key", ["TT1A", "TT2A", "TT3", "OX-2.4"])
def test_a_table_without_a_rule_is_not_stated(key: str) -> None:
    found = owed(rule_for(key, tender_rules()), 0, most_extensions=4, previous=False)
    assert (found.at_depth_min, found.total_min) == (None, None)


def test_tables_four_and_seven_speak_of_the_tender_in_their_notes() -> None:
    """Revision 4A: on table 4 oxygen from 2 h before leaving 30 fsw, no minutes beyond; on 7 chamber air throughout."""
    four, seven = (tender_rules()[key] for key in ("TT4", "TT7"))
    found = owed(four, 0, most_extensions=0, previous=False)
    assert (found.at_depth_min, found.depth_fsw, found.total_min) == (120, 30, None)
    assert breathed(found, four) == ()
    none = owed(seven, 0, most_extensions=0, previous=False)
    assert (none.at_depth_min, none.total_min, breathed(none, seven)) == (0, 0, ())
    assert owed(four, 0, most_extensions=0, previous=True).at_depth_min is None


def test_what_the_handbook_does_not_say_is_not_stated() -> None:
    """Table 9 after a previous exposure; more extensions than the table allows."""
    rules = tender_rules()
    assert owed(rules["TT9"], 0, most_extensions=0, previous=True).total_min is None
    most = sum(one.allowed for one in table("TT6").extensions)
    assert owed(rules["TT6"], 5, most_extensions=most, previous=False).total_min is None
    assert breathed(owed(rules["TT6"], 5, most_extensions=most, previous=False), rules["TT6"]) == ()


def test_the_two_revisions_differ_in_the_look_back() -> None:
    """12 h in revision 4A p. 21-26, 18 h in revisions 6 and 7 (from memory); exactly that no longer counts."""
    assert look_backs() == {"rev4a": 12, "rev6-7": 18}
    assert [counts_as_previous(hours, 12) for hours in (None, 0, 11.99, 12)] == [False, True, True, False]
    with pytest.raises(TenderError, match="-1 is not taken"):
        counts_as_previous(-1, 12)
    with pytest.raises(TenderError, match="extensions: -1"):
        owed(tender_rules()["TT6"], -1, most_extensions=4, previous=False)


def find(key: str, person: str, purpose: str, revision: str, surfaced: str = "2026-06-01T10:00Z") -> Wait:
    found = waits(key, instant(surfaced), ZoneInfo("Europe/Oslo"), wait_rules())
    (one,) = [w for w in found if (w.person, w.purpose, w.revision) == (person, purpose, revision)]
    return one


#: revision 4A p. 21-26, 21-28 and 21-29; revisions 6 and 7 from memory
HOURS = [
    ("TT6", "tender", "next_run", 12, 18),
    ("TT4", "tender", "next_run", 48, 48),
    ("TT7", "tender", "no_stop_diving", 48, 48),
    ("TT5", "tender", "no_stop_diving", 12, 18),
    ("TT6A", "tender", "stop_diving", 24, 24),
    ("TT3", "tender", "flying", 24, 24),
    ("TT7", "tender", "flying", 72, 72),
    ("TT6", "tender", "beside_chamber", 1, 1),
    ("TT4", "tender", "near_facility", 24, 24),
    ("TT5", "patient", "observation", 2, 2),
    ("TT6", "patient", "observation", 6, 6),
    ("TT9", "patient", "near_facility", 24, 24),
    ("TT6", "patient", "flying", 72, 72),
    ("TT9", "tender", "next_run", None, None),
    ("TT9", "tender", "flying", None, None),
    ("OX-2.4", "patient", "flying", None, None),
    ("TT4", "patient", "observation", None, None),
]


@pytest.mark.parametrize(("key", "person", "purpose", "rev4a", "rev6_7"), HOURS)
def test_waits_of_both_revisions(
    key: str, person: str, purpose: str, rev4a: float | None, rev6_7: float | None
) -> None:
    assert find(key, person, purpose, "rev4a").hours == rev4a
    assert find(key, person, purpose, "rev6-7").hours == rev6_7


@pytest.mark.parametrize(
    ("surfaced", "local"),
    [
        ("2026-03-28T19:00Z", "2026-03-29T09:00:00+02:00"),  # 20:00 + 12 h over a night of 23 hours
        ("2026-10-24T18:00Z", "2026-10-25T07:00:00+01:00"),  # 20:00 + 12 h over a night of 25 hours
        ("2026-10-24T13:30Z", "2026-10-25T02:30:00+01:00"),  # the second 02:30 of that night
        ("2026-10-24T12:30Z", "2026-10-25T02:30:00+02:00"),  # the first
    ],
)
def test_a_wait_across_a_change_of_clocks_is_elapsed_hours(surfaced: str, local: str) -> None:
    """European summer time ends and begins at 01:00 UTC; the local hour is that of zoneinfo."""
    one = find("TT6", "tender", "next_run", "rev4a", surfaced)
    assert one.until_local is not None
    assert one.until_local.isoformat() == local
    assert one.until == datetime.fromisoformat(surfaced) + timedelta(hours=12)


@given(
    INSTANTS,
    st.sampled_from(["Europe/Oslo", "America/New_York", "UTC", "Australia/Lord_Howe"]),
)
def test_an_instant_is_the_same_in_every_zone(moment: datetime, name: str) -> None:
    surfaced = moment
    for one in waits("TT6", surfaced, ZoneInfo(name), wait_rules()):
        if one.hours is not None:
            assert one.until is not None
            assert one.until_local == one.until == surfaced + timedelta(hours=one.hours)
            assert str(one.until_local.tzinfo) == name


@pytest.mark.parametrize("text", ["2026-03-28T19:00", "yesterday", "", "2026-13-01T00:00Z", "9999-12-31T23:59Z"])
def test_an_instant_without_an_offset_is_refused(text: str) -> None:
    with pytest.raises(WaitError, match="instant: .* is not taken"):
        instant(text)


def test_an_unknown_zone_and_a_bare_time_are_refused() -> None:
    with pytest.raises(WaitError, match="zone: 'Nowhere/Land' is not taken"):
        zone("Nowhere/Land")
    with pytest.raises(WaitError, match="zone: '../up'"):
        zone("../up")
    with pytest.raises(WaitError, match="has no offset"):
        waits("TT6", datetime(2026, 1, 1), ZoneInfo("UTC"), wait_rules())  # noqa: DTZ001 - that is what is refused


def test_sixty_feet_and_eighteen_metres() -> None:
    """60 fsw = 18.38 msw; 18 msw = 58.76 fsw = 2.81325 bar = 2.7765 atm absolute; with 1 msw = 3.2646 fsw (memory)."""
    sixty = to_kpa_gauge(Decimal(60), "fsw", MSW)
    eighteen = to_kpa_gauge(Decimal(18), "msw", MSW)
    assert float(from_kpa_gauge(sixty, "msw", MSW)) == pytest.approx(18.38, abs=0.005)
    assert float(sixty) == pytest.approx(183.8, abs=0.05)
    assert float(from_kpa_gauge(sixty, "psi", MSW)) == pytest.approx(26.7, abs=0.05)
    assert float(from_kpa_gauge(eighteen, "fsw", MSW)) == pytest.approx(58.76, abs=0.005)
    assert float(from_kpa_gauge(eighteen, "bar absolute", MSW)) == pytest.approx(2.81325, abs=1e-9)
    assert float(from_kpa_gauge(eighteen, "atm absolute", MSW)) == pytest.approx(2.7765, abs=0.00005)


def test_working_rules_of_the_handbook() -> None:
    """2.4 ATA = 46.2 fsw = 141.9 kPa gauge with 33 fsw = 1 ata; 60 fsw = 2.8182 ata, or 2.8138 atm with 33.08."""
    absolute = to_kpa_gauge(Decimal("2.4"), "atm absolute", WORKING)
    assert float(from_kpa_gauge(absolute, "fsw", WORKING)) == pytest.approx(46.2, abs=1e-9)
    assert float(absolute) == pytest.approx(141.9, abs=0.05)
    for scale, atm in ((WORKING, 2.8182), (STANDARD, 2.8138)):
        sixty = to_kpa_gauge(Decimal(60), "fsw", scale)
        assert float(from_kpa_gauge(sixty, "atm absolute", scale)) == pytest.approx(atm, abs=0.00005)


@pytest.mark.parametrize(("unit", "word"), [("kPa", "kPa"), ("bar", "bar"), ("psi", "psi")])
def test_pressures_agree_with_pint(unit: str, word: str) -> None:
    expected = REGISTRY.Quantity(7.5, word).to("kPa").magnitude
    assert float(to_kpa_gauge(Decimal("7.5"), unit, MSW)) == pytest.approx(expected, rel=1e-9)


def test_absolute_pressures_agree_with_pint() -> None:
    expected = (REGISTRY.Quantity(3, "atm") - REGISTRY.Quantity(1, "atm")).to("kPa").magnitude
    assert float(to_kpa_gauge(Decimal(3), "atm absolute", MSW)) == pytest.approx(expected, rel=1e-12)


@given(st.decimals(0, 400, places=3), st.sampled_from(sorted(MSW.factors())), st.sampled_from(sorted(scales())))
def test_units_go_round_and_come_back(value: Decimal, unit: str, name: str) -> None:
    scale = scales()[name]
    back = from_kpa_gauge(to_kpa_gauge(value, unit, scale), unit, scale)
    assert float(back) == pytest.approx(float(value), rel=1e-20, abs=1e-20)


def test_a_vacuum_and_an_unknown_unit_are_refused() -> None:
    with pytest.raises(PressureError, match="pressure: -1 atm absolute is not taken"):
        to_kpa_gauge(Decimal(-1), "atm absolute", MSW)
    with pytest.raises(PressureError, match="unit: 'ft' is not taken. Allowed: one of fsw"):
        to_kpa_gauge(Decimal(1), "ft", MSW)


@pytest.mark.parametrize(
    ("fsw", "msw", "psi", "ata"), [(60, 18.38, 26.7, 2.8138), (165, 50.5, 73.4, 5.988), (33.08, 10.13, 14.7, 2.0)]
)
def test_depths_in_metres_pounds_and_atmospheres(fsw: float, msw: float, psi: float, ata: float) -> None:
    """0.445 psi a fsw, 33.08 fsw an atmosphere (handbook and exact pairs; 165 / 33.08 + 1 by hand)."""
    kpa = to_kpa_gauge(Decimal(str(fsw)), "fsw", STANDARD)
    answers = [float(from_kpa_gauge(kpa, unit, STANDARD)) for unit in ("msw", "psi", "atm absolute")]
    assert answers == [pytest.approx(msw, abs=0.05), pytest.approx(psi, abs=0.1), pytest.approx(ata, abs=0.0005)]


def test_a_bar_is_32_646_feet_of_sea_water() -> None:
    """Exact pair, from memory: 1 msw = 3.2646 fsw."""
    bar = to_kpa_gauge(Decimal(1), "bar", MSW)
    assert float(from_kpa_gauge(bar, "fsw", MSW)) == pytest.approx(32.646, abs=1e-9)
