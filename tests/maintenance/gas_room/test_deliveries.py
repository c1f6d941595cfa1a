"""A delivery: quarantine, analysis, acceptance or refusal. It counts for nothing until the end."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from facility import house
from facility import services as ground
from facility.models import Event, Site
from maintenance.gas_room import services
from maintenance.gas_room.analysers import fitness_of
from maintenance.gas_room.content import bank_states
from maintenance.gas_room.states import refusal_words, why_not
from maintenance.models import (
    BankReading,
    Cylinder,
    CylinderAnalysis,
    Defect,
    QuarantineState,
    Recall,
    WorkRecord,
)
from maintenance.services import raise_defect
from tests import make
from tests.maintenance.gas_room.support import (
    EN_12021,
    EUROPE,
    NAVY,
    adopt,
    analyser,
    analysis,
    delivered,
    now,
    rule_of,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def site() -> Site:
    found = make.site()
    adopt(found, "oxygen_limit_set", EUROPE)
    adopt(found, "air_limit_set", EN_12021)
    return found


def analysed(site: Site, row: Any, found: Any) -> Any:
    """Return the cylinder after an analysis."""
    return services.analyse(row, found, house.values(site), by=make.BY, shown_version=row.row_version)


def test_good_oxygen_goes_from_quarantine_into_a_bank_and_counts_from_then_on(site: Site) -> None:
    """IMCA safety flash 27/23: what was not analysed on delivery counts for nothing."""
    bank = make.bank(site, minimum_pressure=Decimal(0))
    row = analysed(site, delivered(site), analysis(analyser(site), "99.6"))
    assert (row.state, row.passed) == (QuarantineState.ANALYSED, True)
    assert bank_states(site, now(), 1440)[0].litres == 0
    cylinder = services.accept(row, bank, by=make.BY, shown_version=row.row_version)
    row.refresh_from_db()
    assert (row.state, row.cylinder) == (QuarantineState.ACCEPTED, cylinder)
    (state,) = bank_states(site, now(), 1440)
    assert state.litres == pytest.approx(10_600, rel=0.01)  # CoolProp 8.0.0: O2, 200 bar gauge, 15 degC, 50 L
    assert CylinderAnalysis.objects.get().analyser == row.analyser


def test_acceptance_writes_an_event_for_each_row_or_stores_nothing(site: Site) -> None:
    bank = make.bank(site)
    row = analysed(site, delivered(site), analysis(analyser(site), "99.6"))
    before = Event.objects.count()
    services.accept(row, bank, by=make.BY, shown_version=row.row_version)
    actions = list(Event.objects.order_by("seq").values_list("action", flat=True))[before:]
    assert actions == ["accepted into the bank", "analysis taken over", "bank read", "cylinder accepted"]
    again = analysed(site, delivered(site), analysis(analyser(site), "99.6"))
    with pytest.raises(ValidationError):  # the same mark in the same bank
        services.accept(again, bank, by=make.BY, shown_version=again.row_version)
    assert (Cylinder.objects.count(), BankReading.objects.count()) == (1, 1)


def test_air_under_the_label_of_oxygen_is_shouted_out_and_cannot_be_accepted(site: Site) -> None:
    """IMCA safety flash 27/23: masks were fed with air instead of oxygen."""
    row = analysed(site, delivered(site), analysis(analyser(site), "20.9"))
    assert row.passed is False
    assert "Could the gas be wrong?" in why_not(row)[0]
    assert "that is AIR" in why_not(row)[0]
    with pytest.raises(ValidationError, match="Could the gas be wrong"):
        services.accept(row, make.bank(site), by=make.BY, shown_version=row.row_version)


@pytest.mark.parametrize(
    ("days_ago", "says"), [(None, "never recorded"), (400, "ran out on"), (10, "")], ids=["never", "out of date", "in date"]
)  # fmt: skip
def test_only_an_analyser_in_date_lets_an_analysis_pass(site: Site, days_ago: int | None, says: str) -> None:
    row = analysed(site, delivered(site), analysis(analyser(site, days_ago=days_ago), "99.6"))
    assert row.analysed_at is not None  # kept all the same
    assert row.passed is (None if says else True)
    assert says in " ".join(why_not(row))


def test_no_analyser_a_defect_a_doubt_or_a_failed_check_pass_nothing(site: Site) -> None:
    assert "No analyser" in fitness_of(None, now()).faults[0]
    tagged = analyser(site)
    raise_defect(Defect(site=site, equipment=tagged, what="drifts", effect="stops", found_at=now()), by=make.BY)
    assert "tag 0001" in fitness_of(tagged, now() + timedelta(minutes=1)).faults[0]
    failed = analyser(site)
    make.work(rule_of(failed), now().date(), result="failed")
    assert "did not pass" in fitness_of(failed, now()).faults[0]
    doubted = analyser(site)
    recall = ground.add(
        Recall(site=site, equipment=doubted, last_good_on=(now() - timedelta(days=30)).date(), found_on=now().date(),
               why="cell was dead"),
        by=make.BY,
    )  # fmt: skip
    assert "in doubt since" in fitness_of(doubted, now()).faults[0]
    work = WorkRecord.objects.get(equipment=doubted)
    work.doubted_by = recall
    ground.change(work, by=make.BY, reason="reference bad", shown_version=work.row_version)
    assert any("turned out bad" in one for one in fitness_of(doubted, now()).faults)
    assert fitness_of(make.equipment(site), now()).faults  # a gauge is no analyser


def test_without_an_adopted_set_nothing_passes_and_every_set_is_shown() -> None:
    site = make.site()
    row = analysed(site, delivered(site), analysis(analyser(site), "99.6"))
    assert row.passed is None
    assert "adopted no limit set" in why_not(row)[0]
    assert {one["key"] for one in row.judged["sets"]} == {"navy_oxygen", "ep_oxygen", "usp_oxygen"}


def test_an_analysis_that_lacks_a_parameter_of_the_adopted_set_is_no_pass() -> None:
    """U.S. Navy table of oxygen purity: oxygen 99.5 %, CO2 10 ppm, methane 50 ppm, nitrous oxide 4 ppm."""
    site = make.site()
    adopt(site, "oxygen_limit_set", NAVY)
    row = analysed(site, delivered(site), analysis(analyser(site), "99.6"))
    assert row.passed is None
    assert "carbon dioxide, methane, nitrous oxide" in why_not(row)[0]
    values = {"o2": Decimal("99.6"), "co2": Decimal(10), "methane": Decimal(50), "nitrous_oxide": Decimal(4)}
    assert analysed(site, row, analysis(analyser(site), "99.6", values=values)).passed is True
    over = values | {"nitrous_oxide": Decimal("4.1")}
    assert analysed(site, row, analysis(analyser(site), "99.6", values=over)).passed is False


def test_standards_differ_on_one_sample_and_the_adopted_one_decides(site: Site) -> None:
    """CO 8, CO2 450, oil 0.3, water 30, oxygen 20.9: at a cylinder of 200 bar EN 12021:2014 limits water to 50 mg/m3
    but CO to 5 ppm; 46 CFR 197.340(i) allows 20 ppm, Norway section 5-5 and CGA grade E 10 ppm."""
    values = {name: Decimal(text) for name, text in
              {"o2": "20.9", "co": "8", "co2": "450", "oil": "0.3", "water": "30"}.items()}  # fmt: skip
    row = analysed(site, delivered(site, "AIR"), analysis(analyser(site), "20.9", values=values, odour="none"))
    measured = {one["key"]: one["measured"] for one in row.judged["sets"]}
    assert measured == {"en_12021": "fail", "norway": "pass", "cfr_46": "pass", "cfr_29": "pass", "cga_e": "pass"}
    assert (row.judged["adopted"], row.passed, row.judged["differ"]) == ("en_12021", False, True)


def test_a_cylinder_goes_only_into_a_bank_of_its_gas_and_site(site: Site) -> None:
    row = analysed(site, delivered(site), analysis(analyser(site), "99.6"))
    for bank, says in ((make.bank(site, gas="AIR"), "is for AIR"), (make.bank(), "another site")):
        with pytest.raises(ValidationError, match=says):
            services.accept(row, bank, by=make.BY, shown_version=row.row_version)


def test_a_refusal_keeps_its_reason_and_gives_words_for_the_supplier(site: Site) -> None:
    row = analysed(site, delivered(site), analysis(analyser(site), "20.9"))
    services.refuse(row, "air in an oxygen cylinder", None, by=make.BY, shown_version=row.row_version)
    words = refusal_words(row, site)
    for part in ("Bergvik Gass", "BG-9001", "N-7", "air in an oxygen cylinder", "20.9", site.name):
        assert part in words
    with pytest.raises(ValidationError, match="already"):
        services.refuse(row, "again", None, by=make.BY, shown_version=row.row_version)
    assert Cylinder.objects.count() == 0


def test_an_analyser_found_bad_after_the_analysis_stops_the_acceptance(site: Site) -> None:
    found_bad = analyser(site)
    row = analysed(site, delivered(site), analysis(found_bad, "99.6"))
    assert row.passed is True
    ground.add(
        Recall(site=site, equipment=found_bad, last_good_on=(now() - timedelta(days=5)).date(), found_on=now().date(),
               why="cell was dead"),
        by=make.BY,
    )  # fmt: skip
    with pytest.raises(ValidationError, match="cell was dead. Analyse it again"):
        services.accept(row, make.bank(site), by=make.BY, shown_version=row.row_version)


def test_an_analyser_without_a_rule_is_never_in_date(site: Site) -> None:
    item = make.equipment(site, kind="analyser")
    assert "No rule says" in fitness_of(item, now()).faults[0]
