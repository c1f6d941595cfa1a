"""A reading that came with a check has no thermometer: what counts, what is compared, and the words for it.

Expected litres are of CoolProp's reference equation of state for oxygen, at 15 degC and 1 atm. Gas of one pressure is
less of it the warmer it is; so a pressure alone never counts for more than the room bears out.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import pairwise

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from facility.compute.facts import Bank
from facility.readiness.gas_sums import gas_sums
from facility.readiness.services import evaluate_chamber
from facility.records.plant import bank_lines
from facility.records.states import moment_of
from maintenance.compute.cross_checks import falls_unused
from maintenance.compute.gas import usable_litres
from maintenance.compute.temperatures import counted_c, nearest_c
from maintenance.gas_room.content import bank_states, courses, expected_after_hook_up
from maintenance.models import BankReading, GasBank
from maintenance.reference import gas_law
from tests import make
from tests.facility.readiness_db import build
from tests.records.test_kinds import signed_in
from tests.treatments.figures.test_gas_and_air import litres_by_coolprop
from tests.walk.walking import checked

#: the fit to CoolProp is good to 0.0006 of some 7 500 L, and litres are cut
FIT_L = 6
WATER = 50


@pytest.fixture
def bank() -> GasBank:
    """Return the bank of the worked example, one cylinder of 50 L, read at 150 bar four hours ago."""
    chamber = build.worked_example()
    found = GasBank.objects.get(site=chamber.site)
    BankReading.objects.all().update(read_at=build.T - timedelta(days=100))
    return found


def measured(bank: GasBank, at: datetime, celsius: str, pressure: str = "150") -> BankReading:
    return build.reading(bank, at, pressure, temperature_c=Decimal(celsius))


def counts(bank: GasBank) -> set[int]:
    """Return what every place that reckons it counts of the bank [L]."""
    site = bank.site
    assert bank.chamber is not None
    (state,) = bank_states(site, build.T, 1440)
    (line,) = bank_lines(site, moment_of(site, build.T))
    facts = evaluate_chamber(bank.chamber, build.T).facts
    ((cylinder,),) = [one.cylinders for one in facts.members.values() if isinstance(one, Bank)]
    return {state.litres, line.litres or 0, int(cylinder.usable or 0)}


@pytest.mark.django_db
@pytest.mark.parametrize(("room", "counted_at"), [("35", 35), ("20.5", 20.5), ("2", 15), (None, 15)])
def test_a_pressure_without_a_temperature_counts_at_the_rooms_and_never_as_colder_than_15(
    bank: GasBank, room: str | None, counted_at: float
) -> None:
    """In a warm room 150 bar are less gas than at 15 degC; in a cold one they are more, and that is not counted."""
    if room is not None:
        measured(bank, build.T - timedelta(days=1), room)
    checked(bank, build.T - timedelta(hours=2), "150")
    (litres,) = counts(bank)
    assert litres == pytest.approx(
        litres_by_coolprop(WATER, 150, counted_at) - litres_by_coolprop(WATER, 0, counted_at), abs=FIT_L
    )
    assert litres <= litres_by_coolprop(WATER, 150, 15) + FIT_L


@pytest.mark.django_db
def test_a_temperature_of_last_season_tells_nothing_of_the_room_now(bank: GasBank) -> None:
    measured(bank, build.T - timedelta(days=91), "35")
    checked(bank, build.T - timedelta(hours=2), "150")
    (litres,) = counts(bank)
    assert litres == pytest.approx(litres_by_coolprop(WATER, 150, 15), abs=WATER + FIT_L)


@pytest.mark.django_db
def test_the_pages_say_that_it_was_not_measured_and_what_is_taken(bank: GasBank) -> None:
    site, chamber = bank.site, bank.chamber
    assert chamber is not None
    measured(bank, build.T - timedelta(days=1), "22")
    reading = checked(bank, build.T - timedelta(hours=2), "150")
    (one,) = gas_sums(evaluate_chamber(chamber, build.T), "tt6")
    assert one.lines[3].words == (
        "1 cylinder of 50\u00a0L at 150\u00a0bar, temperature not measured: taken as 22\u00a0°C, read 2 h 00 ago"
    )
    client = signed_in(make.user(site, "inspector"))
    record = client.get(reverse("records:detail", args=[site.key, "reading", reading.pk])).content.decode()
    assert "not measured" in record
    page = client.get(reverse("maintenance:bank", args=[site.key, bank.pk])).content.decode()
    assert "Temperature not measured: taken as" in page
    assert "temperature not measured" in client.get(reverse("maintenance:gas", args=[site.key])).content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize(("typed", "told"), [("15.0", None), ("21", Decimal(21))])
def test_correcting_the_pressure_measures_no_temperature_and_typing_one_does(
    bank: GasBank, typed: str, told: Decimal | None
) -> None:
    reading = checked(bank, build.T - timedelta(hours=2), "150")
    client = signed_in(make.user(bank.site, "director"))
    address = reverse("records:correct", args=[bank.site.key, "reading", reading.pk])
    fields = {"bank": bank.pk, "read_at": "27 Nov 2026 08:00", "pressure": "105", "unit": "bar", "temperature_c": typed,
              "read_by": "Ina Test", "reason": "digits swapped", "shown_version": 1}  # fmt: skip
    answer = client.post(address, fields)
    assert answer.status_code == 302, answer.context["form"].errors
    current = BankReading.objects.get(bank=bank, retired_at=None, supersedes=reading)
    assert (current.pressure, current.measured_c) == (Decimal(105), told)


@pytest.mark.django_db
def test_the_gauge_after_hook_up_is_expected_at_the_temperature_that_is_read_with_it(bank: GasBank) -> None:
    """One cylinder alone shows its own pressure; at an assumed 15 degC, 2 degC would be 5 % less and be asked about."""
    checked(bank, build.T - timedelta(hours=2), "150")
    (state,) = bank_states(bank.site, build.T, 1440)
    assert expected_after_hook_up(state, Decimal(2)) == pytest.approx(Decimal(150), abs=Decimal("0.2"))


@pytest.mark.django_db
def test_readings_of_checks_and_of_rounds_by_turns_are_no_fall_and_no_rise(bank: GasBank) -> None:
    """150 bar every half day in a room of 4 degC: with every second one at an assumed 15 degC the bank fell by 5 %."""
    for half_day in range(6):
        at = build.T - timedelta(hours=12 * (half_day + 1))
        checked(bank, at, "150") if half_day % 2 else measured(bank, at, "4")
    course = courses(bank_states(bank.site, build.T, 1440), build.T)[bank.pk]
    assert len(course) == 6
    assert list(falls_unused(course, [], 1.0)) == []
    assert max(abs(one[1] - after[1]) for one, after in pairwise(course)) < 1
    apart = litres_by_coolprop(WATER, 150, 4) - litres_by_coolprop(WATER, 150, 15)
    assert apart / litres_by_coolprop(WATER, 150, 4) > 0.05


@given(st.floats(0, 300), st.one_of(st.none(), st.floats(-5, 55)))
def test_what_counts_is_never_more_than_at_15_degrees(bar: float, room: float | None) -> None:
    law = gas_law("O2")
    assert usable_litres(law, WATER, bar * 100, counted_c(room)) <= usable_litres(law, WATER, bar * 100, 15) + 1e-6


@given(
    st.lists(st.tuples(st.datetimes(timezones=st.just(UTC)), st.floats(-5, 55)), min_size=1),
    st.datetimes(timezones=st.just(UTC)),
)
def test_the_temperature_taken_is_that_measured_nearest(rows: list[tuple[datetime, float]], at: datetime) -> None:
    rows.sort()
    assert any(
        abs(when - at) == min(abs(one[0] - at) for one in rows) and celsius == nearest_c(rows, at)
        for when, celsius in rows
    )
