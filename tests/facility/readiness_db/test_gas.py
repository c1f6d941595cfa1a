"""The gas sums of the Why page, and a bank out of service on the Now page."""

from __future__ import annotations

from datetime import timedelta

import pytest

from facility.compute.states import State
from facility.models import Chamber
from facility.readiness import fill
from facility.readiness.gas_sums import gas_sums
from facility.readiness.sentences import reason
from facility.readiness.services import Answer, evaluate_chamber
from facility.readiness.why import Sum
from maintenance.models import GasBank
from tests.facility.readiness_db import build

pytestmark = pytest.mark.django_db
# one cylinder of 50 L at 150 bar gauge: near 50 x 150 / 1.01325 L by the ideal law, oxygen being some per cent denser
IDEAL_L = 50 * 150 / 1.01325
NEEDED_L = 6000 + 1000  # what the worked example asks for, reserve kept back


@pytest.fixture
def chamber() -> Chamber:
    return build.worked_example()


def answer(chamber: Chamber, after_h: int = 0) -> Answer:
    return evaluate_chamber(chamber, build.T + timedelta(hours=after_h))


def figures(of: Sum) -> list[int]:
    """Return the figures of a sum in litres."""
    return [int("".join(sign for sign in line.figure if sign.isdigit())) for line in of.lines]


def test_the_sum_adds_up_and_names_reading_age_temperature_and_unit(chamber: Chamber) -> None:
    (one,) = gas_sums(answer(chamber), "tt6")
    demand, reserve, needed, cylinder, counted, left = figures(one)
    assert (demand, reserve, needed) == (6000, 1000, NEEDED_L)
    assert cylinder == counted == pytest.approx(IDEAL_L, rel=0.08)
    assert left == counted - NEEDED_L
    assert "15\u00a0°C and 1\u00a0atm" in one.title
    assert one.lines[3].words == "1 cylinder of 50\u00a0L at 150\u00a0bar and 15\u00a0°C, read 4 h 00 ago"
    assert (one.lines[-1].words, one.lines[-1].kind) == ("Left over", "end")


def test_a_cylinder_that_is_not_analysed_adds_nothing_and_says_so(chamber: Chamber) -> None:
    before = figures(gas_sums(answer(chamber), "tt6")[0])[-1]
    build.cylinder(GasBank.objects.get(), analysis="")
    (one,) = gas_sums(answer(chamber), "tt6")
    assert figures(one)[-1] == before
    assert any(line.words.endswith("not analysed: not counted") for line in one.lines)


def test_a_reading_that_is_too_old_leaves_the_whole_demand_open(chamber: Chamber) -> None:
    (one,) = gas_sums(answer(chamber, after_h=20), "tt6")  # read 4 h before, 24 h are allowed, equal is too old
    assert one.lines[-1].words == "Not known: missing as far as read"
    assert figures(one)[-1] == NEEDED_L


def test_a_bank_out_of_service_counts_for_nothing_and_carries_its_tag(chamber: Chamber) -> None:
    build.defect(GasBank.objects.get(), build.T - timedelta(hours=1), what="regulator creeps")
    found = answer(chamber)
    (one,) = gas_sums(found, "tt6")
    number = GasBank.objects.get().defects.get().number
    assert one.lines[-1].words == "Missing in this bank"
    assert figures(one)[-1] == NEEDED_L
    assert f"tag {number:04d}" in one.lines[-2].words
    (row,) = fill.gas_rows(found)
    assert row.shut
    assert row.tags == (("tag", f"out of service, tag {number:04d}: regulator creeps"),)
    assert row.grouped == ()


def test_a_bank_that_only_another_plan_may_not_use_is_counted(chamber: Chamber) -> None:
    build.defect(GasBank.objects.get(), build.T - timedelta(hours=1), plans=["another"])
    (row,) = fill.gas_rows(answer(chamber))
    assert not row.shut
    assert [words for _mark, words, _demands in row.grouped] == ["enough for"]


def test_a_plate_says_the_first_cause_in_one_sentence(chamber: Chamber) -> None:
    build.defect(GasBank.objects.get(), build.T - timedelta(hours=1), what="regulator creeps")
    found = answer(chamber)
    shown = found.shown("tt6")
    assert shown["state"] == State.NOT_READY
    said = reason(shown, found.names.need_names)
    assert said.startswith("Oxygen: out of service from 27 Nov 2026 09:00, tag ")
    assert "needed" not in said
