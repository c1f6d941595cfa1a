"""A technician's year on the demo: each step changes readiness as it should.

Gas content is compared with CoolProp, counts and days with plain arithmetic; the codes stand beside each step.
"""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from CoolProp.CoolProp import PropsSI
from django.core.exceptions import ValidationError
from django.test import TestCase, override_settings

from facility import events, house
from facility.compute.facts import Bank
from facility.demo.loading import load
from facility.events import Actor
from facility.models import Site
from facility.readiness.services import Answer, evaluate_chamber
from maintenance.calibrating import recalls
from maintenance.calibrating import services as calibrating
from maintenance.gas_room import services as gas_room
from maintenance.gas_room.services import Analysis
from maintenance.models import (
    Calibration,
    Counter,
    CounterReading,
    Defect,
    Deferral,
    DeliveredCylinder,
    Delivery,
    Equipment,
    GasBank,
    IntervalRule,
    Recall,
    Reference,
    ReferenceCertificate,
    Repair,
    WorkKind,
    WorkRecord,
    WorkResult,
)
from maintenance.services import add_repair, raise_defect, record_work
from maintenance.services.returning import Return, return_after_test
from maintenance.upkeep import services as upkeep
from maintenance.upkeep.state import due_states_of, on_of

TECHNICIAN, WITNESS = Actor("Sindre Aune", user_id=901), Actor("Karin Lindqvist", user_id=902)
CLASS_06 = {"limit_by": "EN 837-1 class", "class_or_grade": "0.6", "own_limit": "", "decision_rule": "simple",
            "guard_factor": "1", "largest_uncertainty": "", "changed_because": ""}  # fmt: skip


class TechniciansYear(TestCase):
    """The demo is loaded once; each test plays one step from there."""

    site: Site
    folder: Path

    @classmethod
    def setUpClass(cls) -> None:
        cls.folder = Path(tempfile.mkdtemp())
        cls.enterClassContext(override_settings(DATA_DIR=cls.folder, EVIDENCE_DIR=cls.folder / "evidence"))
        super().setUpClass()

    @classmethod
    def tearDownClass(cls) -> None:
        super().tearDownClass()
        shutil.rmtree(cls.folder)

    @classmethod
    def setUpTestData(cls) -> None:
        cls.site = load(events.now().date()).site

    def now(self) -> datetime:
        """Return the present, to the minute."""
        return events.now().replace(second=0, microsecond=0)

    def answer(self) -> Answer:
        """Return readiness two minutes from now, so that what was just recorded lies before it."""
        return evaluate_chamber(self.site.chambers.get(), self.now() + timedelta(minutes=2))

    def need(self, key: str) -> Any:
        """Return the finding of a need for the first plan that rests on it."""
        found = self.answer()
        return next(one.findings[key] for one in found.evaluations.values() if key in one.findings)

    def item(self, tag: str) -> Equipment:
        """Return an item by its tag."""
        return Equipment.objects.get(site=self.site, tag=tag)

    def calibrated(self, tag: str, error: str, certificate: ReferenceCertificate | None) -> Calibration:
        """Compare a depth gauge at three points with this error at each."""
        item = self.item(tag)
        points = [{"reference": str(one), "up": str(Decimal(one) + Decimal(error))} for one in (0, 50, 100)]
        rule = IntervalRule.objects.get(equipment=item, name="calibration", retired_at=None)
        row = Calibration(
            equipment=item, certificate=certificate, done_on=self.now().date(), done_by=TECHNICIAN.name, unit="fsw",
            scale_low=Decimal(0), scale_high=Decimal(200), as_found=points, choices=dict(CLASS_06),
            means={"reference_expanded": "0.1", "reference_k": "2", "resolution": "0.1", "zero_before": "", "zero_after": "",
                   "zero_shift": "0", "reference_drift": "", "others": []},
        )  # fmt: skip
        return calibrating.record(row, rule, by=TECHNICIAN)

    def loan(self) -> ReferenceCertificate:
        """Take in a reference on loan, with its owner's certificate."""
        today = self.now().date()
        lent = calibrating.add_reference(
            Reference(site=self.site, key="loan-1", name="Dead-weight tester on loan", owner="Nordkyst Inspection",
                      return_by=today + timedelta(days=20), unit="fsw", scale_high=Decimal(400)),
            by=TECHNICIAN,
        )  # fmt: skip
        return calibrating.add_certificate(
            ReferenceCertificate(
                reference=lent, number="NI-88", issuer="Nordkyst Inspection", calibrated_on=today - timedelta(days=60),
                due_on=today + timedelta(days=300), expanded_uncertainty=Decimal("0.1"), unit="fsw",
            ),
            by=TECHNICIAN,
        )  # fmt: skip

    def test_a_delivery_counts_for_nothing_until_analysed_and_accepted(self) -> None:
        bank = GasBank.objects.get(site=self.site, key="oxygen-1")
        before = self.content(bank)
        delivery = gas_room.add_delivery(
            Delivery(site=self.site, gas="O2", supplier="Bergvik Gass", received_at=self.now() - timedelta(hours=2),
                     received_by=TECHNICIAN.name),
            by=TECHNICIAN,
        )  # fmt: skip
        row = gas_room.add_delivered(
            DeliveredCylinder(delivery=delivery, mark="BG-7001", water_litres=Decimal(50)), by=TECHNICIAN
        )
        assert self.content(bank) == before
        found = Analysis(
            self.now() - timedelta(minutes=20), TECHNICIAN.name, self.item("OA-1"), Decimal(200), "bar", Decimal(200),
            Decimal(10), {"o2": Decimal("99.7"), "co": Decimal(0), "co2": Decimal(0), "water": Decimal(10)},
        )  # fmt: skip
        row = gas_room.analyse(row, found, house.values(self.site), by=TECHNICIAN, shown_version=row.row_version)
        assert self.content(bank) == before
        assert row.passed, row.judged
        gas_room.accept(row, bank, by=TECHNICIAN, shown_version=row.row_version)
        # CoolProp: mass at 200 bar gauge and 10 degC less mass at what is not drawn, over density at 15 degC, 1 atm
        gained = self.content(bank) - before
        low = float(bank.minimum_pressure) * 1e5 + 101_325
        mass = 0.05 * (self.density(200e5 + 101_325, 283.15) - self.density(low, 283.15))
        expected = 1000 * mass / self.density(101_325, 288.15)
        assert abs(gained / expected - 1) < 0.002

    def density(self, pascal: float, kelvin: float) -> float:
        """Return the density of oxygen in kg/m3 from the reference library."""
        return float(PropsSI("D", "P", pascal, "T", kelvin, "Oxygen"))

    def content(self, bank: GasBank) -> float:
        """Return the litres that readiness counts in a bank."""
        facts = self.answer().facts.members[f"bank:{bank.key}"]
        assert isinstance(facts, Bank)
        return float(sum(one.usable or 0 for one in facts.cylinders if one.analysis == "passed"))

    def test_a_failed_gauge_stops_what_rests_on_it_until_it_is_repaired_tested_and_compared(self) -> None:
        """46 CFR 197.458: depth gauges are tested every six months. IL-D2 is overdue in the demo, so IL-D1 stands alone."""
        assert self.need("il-depth").state == "holds"
        failed = self.calibrated("IL-D1", "4", self.loan())
        assert failed.work.result == WorkResult.FAILED  # EN 837-1: 0.6 % of 200 is 1.2 fsw; 4 is outside
        assert self.need("il-depth").state == "stops"
        defect = raise_defect(
            Defect(site=self.site, equipment=self.item("IL-D1"), what="reads 4 fsw high", effect="stops",
                   found_at=self.now()),
            by=TECHNICIAN, work=failed.work,
        )  # fmt: skip
        add_repair(
            Repair(defect=defect, done_at=self.now(), done_by=TECHNICIAN.name, what="new movement"), by=TECHNICIAN
        )
        assert self.need("il-depth").state == "stops"
        test = WorkRecord(equipment=defect.equipment, kind=WorkKind.RETURN_TEST, result=WorkResult.PASSED)
        back = Return(self.now(), "compared at 3 points", witness="Per Nygard", test=test)
        return_after_test(defect, back, by=WITNESS, shown_version=defect.row_version)
        defect.refresh_from_db()
        assert defect.returned_at is not None
        assert self.need("il-depth").state == "stops"  # its calibration is still the failed one
        certificate = ReferenceCertificate.objects.get(number="NI-88")
        assert self.calibrated("IL-D1", "0.2", certificate).work.result == WorkResult.PASSED
        assert self.need("il-depth").state == "holds"

    def test_the_one_who_repaired_it_is_no_witness_of_the_test(self) -> None:
        defect = raise_defect(
            Defect(site=self.site, equipment=self.item("IL-D1"), what="sticks", effect="stops", found_at=self.now()),
            by=TECHNICIAN,
        )
        add_repair(Repair(defect=defect, done_at=self.now(), done_by=TECHNICIAN.name, what="cleaned"), by=TECHNICIAN)
        back = Return(self.now(), "moved freely", witness=TECHNICIAN.name, test=WorkRecord(equipment=defect.equipment))
        with pytest.raises(ValidationError):
            return_after_test(defect, back, by=WITNESS, shown_version=defect.row_version)

    def test_a_loaned_reference_that_turns_out_bad_puts_in_doubt_what_was_compared_with_it(self) -> None:
        certificate = self.loan()
        self.calibrated("IL-D2", "0.1", certificate)
        good, limited, unknown, bad = self.need("il-depth").counts
        assert (good, limited, unknown, bad) == (2, 0, 0, 0)
        recall = recalls.start(
            Recall(site=self.site, reference=certificate.reference, last_good_on=certificate.calibrated_on,
                   found_on=self.now().date(), why="the owner found its weights mixed up"),
            by=TECHNICIAN,
        )  # fmt: skip
        assert self.need("il-depth").counts == (1, 0, 1, 0)
        told = recalls.subjects(recall)
        assert ("IL-D2", None) in [(one.row.equipment.tag, one.answer) for one in told if one.kind == "calibration"]
        chosen = [one for one in told if one.kind == "calibration"]
        recalls.answer(recall, chosen, (True, "checked against the second tester on the same day"), by=WITNESS)
        assert self.need("il-depth").counts == (2, 0, 0, 0)

    def test_windows_that_reach_their_cycles_stop_every_plan(self) -> None:
        """ASME PVHO-1: a viewport's life ends by years or cycles. In the demo: 500 cycles from 212, so at 712."""
        assert self.need("viewports").state == "holds"
        counter = Counter.objects.get(site=self.site, key="chamber-1-cycles")
        last = CounterReading.objects.filter(counter=counter, retired_at=None).order_by("-read_at")[0].value
        self.read(counter, Decimal(711))
        assert last < 711
        assert self.need("viewports").state == "holds"  # one run more is just allowed: equal is enough
        self.read(counter, Decimal(712))
        assert self.need("viewports").state == "stops"
        with pytest.raises(ValidationError, match="only goes up"):
            self.read(counter, Decimal(700))

    def read(self, counter: Counter, value: Decimal) -> None:
        """Store a reading of a counter, now."""
        upkeep.read_counter(
            CounterReading(counter=counter, read_at=events.now(), value=value, read_by=TECHNICIAN.name), by=TECHNICIAN
        )

    def test_a_vessel_test_is_put_off_to_its_hard_stop_and_no_further(self) -> None:
        """UFC 3-430-07, table 3-3: put off where no corrosion was found, never past twelve years after the last test."""
        rule = IntervalRule.objects.get(equipment=self.item("RCV-1"), name="hydrostatic test", retired_at=None)
        today = self.now().date()
        last = WorkRecord.objects.filter(rule=rule, retired_at=None).order_by("-done_on")[0].done_on
        hard_stop = date(last.year + 12, last.month, last.day)
        on = on_of(self.site, today)
        look = Deferral(rule=rule, looked_on=today, no_damage=True, looked_by="Nordkyst Inspection",
                        approved_by="Astrid Solheim", why="once more")  # fmt: skip
        with pytest.raises(ValidationError):
            upkeep.put_off(look, replace(on, today=hard_stop + timedelta(days=1)), by=TECHNICIAN)
        state = next(one for one in due_states_of([rule.equipment_id], self.site, today) if one.rule == rule.pk)
        assert state.due_on == hard_stop  # two clean looks of three years each after six lead to twelve years
        record_work(
            WorkRecord(equipment=rule.equipment, rule=rule, done_on=today, done_by="Nordkyst Inspection"), by=TECHNICIAN
        )
        state = next(one for one in due_states_of([rule.equipment_id], self.site, today) if one.rule == rule.pk)
        assert state.due_on is not None
        assert abs(state.due_on - date(today.year + 6, today.month, min(today.day, 28))) < timedelta(days=4)
