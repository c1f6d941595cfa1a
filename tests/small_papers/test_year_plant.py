"""The year's figures of plant, checks, drills and gas, against rows counted by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from facility import services
from facility.models import Drill, DrillKind, Site
from facility.practice.services import hold
from facility.small_papers.year import Year
from facility.small_papers.year_paper import parts_of
from maintenance.models import BankReading, Cylinder, Defect, DeliveredCylinder, Delivery
from tests import make
from tests.maintenance.calibrating import support
from tests.small_papers.year_kit import LATER, Clock, a_clock, a_site, figures, ran, values  # noqa: F401  # fixtures by their names
from treatments.calling import waivers
from treatments.models import Need, Waiver

pytestmark = pytest.mark.django_db


def test_downtime_is_the_hours_within_the_year_each_minute_once(site: Site, clock: Clock) -> None:
    """By hand, in Oslo: back on 2 Jan 12:00, 36 h of the year; the second ends at 18:00 and adds 6 h."""
    item = make.equipment(site, tag="C-1", kind="compressor")
    clock.is_now(2026, 2, 1)
    first = datetime(2025, 12, 31, 11, tzinfo=UTC), datetime(2026, 1, 2, 11, tzinfo=UTC)
    second = datetime(2026, 1, 2, 5, tzinfo=UTC), datetime(2026, 1, 2, 17, tzinfo=UTC)
    for number, (start, end) in enumerate((first, second), 1):
        row = Defect(
            site=site, equipment=item, number=number, what="hot", effect="stops", found_at=start, returned_at=end,
            returned_by="Ina",
        )  # fmt: skip
        services.add(row, by=make.BY)
    told = values(site, date(2026, 2, 1), "Time out of service", "In all, each item by itself", "compressor")
    assert told == ["42.0", "42.0"]


def test_gas_is_counted_from_readings_around_runs_and_from_accepted_deliveries(site: Site, clock: Clock) -> None:
    """By hand: 200 bar to 180 bar on 2 x 50 L is 2000 L; two runs between the same readings share them."""
    bank = make.bank(site, gas="O2")
    for mark in ("A", "B"):
        services.add(Cylinder(bank=bank, mark=mark, water_litres=50), by=make.BY)
    clock.is_now(2026, 2, 1)
    for hour, bar in ((6, 200), (20, 180)):
        at = datetime(2026, 1, 10, hour, tzinfo=UTC)
        services.add(BankReading(bank=bank, read_at=at, pressure=bar, unit="bar", read_by="Ina"), by=make.BY)
    ran(site, 1, datetime(2026, 1, 10, 8, tzinfo=UTC), 60, "training")
    ran(site, 2, datetime(2026, 1, 10, 12, tzinfo=UTC), 60, "training")
    ran(site, 3, datetime(2026, 1, 20, 12, tzinfo=UTC), 60, "training")  # no reading after it
    delivery = Delivery(
        site=site, gas="O2", supplier="Gas", received_at=datetime(2026, 1, 5, tzinfo=UTC), received_by="I"
    )
    services.add(delivery, by=make.BY)
    for mark, state in (("D1", "accepted"), ("D2", "refused")):
        row = DeliveredCylinder(delivery=delivery, mark=mark, water_litres=50, pressure=200, state=state)
        services.add(row, by=make.BY)
    found = figures(site, 2026, date(2026, 2, 1))
    used = found["Gas", "Used in runs: O2"]
    assert (used.value, used.records) == ("2000", 2)
    assert used.query.endswith(": 1")
    assert found["Gas", "Delivered: O2"].value == "10000"


def test_comparisons_waivers_and_drills(site: Site, clock: Clock) -> None:
    clock.is_now(2026, 3, 10)
    item = make.equipment(site, tag="G-1")
    good = support.certificate(support.reference(site))
    support.comparison(item, good)
    bad = [{"reference": "4", "up": "9"}]
    support.comparison(item, good, as_found=bad, done_on=date(2026, 3, 2))
    chamber = site.chambers.get()
    need = services.add(
        Need(chamber=chamber, key="voice", name="Voice", k=1, effect="stops", waivable=True), by=make.BY
    )
    waiver = Waiver(chamber=chamber, need=need, starts_at=clock.at, ends_at=clock.at + timedelta(days=3), why="part",
                    counter_measure="radio", granted_by="Ina")  # fmt: skip
    waivers.grant(waiver, waivers.Grant(None, False, ""), by=make.BY)
    waivers.end(waiver, by=make.BY, reason="came earlier")
    kind = services.add(DrillKind(site=site, key="fire", name="Fire"), by=make.BY)
    people = [make.person(site), make.person(site)]
    for day in (1, 2):
        row = Drill(
            kind=kind, held_at=datetime(2026, 3, day, tzinfo=UTC), reached=day == 1, went_wrong="slow", led_by="I"
        )
        hold(row, people, by=make.BY)
    part = "Comparisons of gauges and analysers"
    asked = date(2026, 3, 10)
    assert values(site, asked, part, "Comparisons", "In tolerance as found", "Out of tolerance as found") == [
        "2",
        "1",
        "1",
    ]
    assert values(site, asked, "Waivers", "Waivers granted", "of: Voice") == ["1", "1"]
    assert values(site, asked, "Drills", "Held", "Goal reached", "People who took part") == ["2", "1", "2"]


def test_days_without_a_daily_check_are_counted_as_they_were_known(site: Site, clock: Clock) -> None:
    """By hand: in force from 10 March; a check begun on the 10th, none on the 11th and 12th; asked on the 13th."""
    from facility.models import Check

    clock.is_now(2026, 3, 10, 8)
    sheet = make.sheet(site.chambers.get())
    version = sheet.versions.get()

    def signed(day: int, number: int) -> None:
        at = datetime(2026, 3, day, 9, tzinfo=UTC)
        row = Check(
            sheet=sheet,
            version=version,
            number=number,
            state="signed",
            started_at=at,
            started_by="I",
            signed_at=at,
            signed_by="I",
            result="passed",
        )
        services.add(row, by=make.BY)

    signed(10, 1)
    clock.is_now(2026, 3, 14, 9)
    signed(11, 2)  # keyed in four days after
    asked = ("Checks", "Days without a daily check")
    assert values(site, date(2026, 3, 13), *asked) == ["2"]  # the 13th itself is not looked at
    assert values(site, date(2026, 3, 14), *asked) == ["2"]  # the 12th and 13th; the 11th is there now


def test_a_defect_that_is_open_is_down_until_now_and_not_until_midnight(site: Site, clock: Clock) -> None:
    """By hand: found at 02:00, asked at 08:00 the same day."""
    found_at = datetime(2026, 1, 2, 2, tzinfo=UTC)
    item = make.equipment(site, tag="C-1")
    services.add(Defect(site=site, equipment=item, number=1, what="x", effect="stops", found_at=found_at), by=make.BY)
    now = clock.is_now(2026, 1, 2, 8)
    parts = parts_of(Year(site, 2026, date(2026, 1, 2), now + timedelta(seconds=1)), outside=True)
    (down,) = (one.value for part in parts for one in part.figures if one.label == "In all, each item by itself")
    assert down == "6.0"
