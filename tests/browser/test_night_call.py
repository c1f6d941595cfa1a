"""A call at three in the morning, on a phone, in red light, played on the demo from the first tap to the day after.

That night one gauge of the inner lock's depth is overdue and the other is broken, one tender is still inside his wait,
and the air is enough for one table and not for another. By hand, from the records of the demo:

D of Table 6        288 min table + 2 x 25 + 2 x 75 min extensions + 30 min margin = 288 + 50 + 150 + 30 = 518 min = 8 h 38
gauge IL-D2         calibrated 3 Aug 2025 + 6 months = due 3 Feb 2026: overdue; gauge IL-D1 out from 23:40: 0 of 1 good
wait of E. Mork     surface 18:15 + 720 min (12 h) = 06:15 on the 12th; at 03:00 he has 3 h 15 left
air                 Table 6: 209 000 + 30 000 L reserve = 239 000 L; Table 6 for two: 385 000 + 30 000 = 415 000 L
air bank 1          4 x 350 L = 1400 L of water at 212 bar and 9 degC, not drawn below 14 bar, by real gas: 272 300 L
waiver              given 03:05, countersign owed 24 h later: 13 Feb 03:05; ends 09:00, so start until 09:00
run                 left surface 03:25; planned end 518 - 30 = 488 min later: 11:33; chamber free 60 min later: 12:33
surface             288 min after 03:25: 08:13; the tender waits 1080 min (18 h): until 13 Feb 02:13
gas afterwards      both banks breathed from: unknown until read after 08:13; the daily check of the evening is void
"""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from CoolProp.CoolProp import PropsSI

from facility import events
from facility.accounts.demo import DEMO_PASSWORD
from facility.demo.loading import demo_set, load
from facility.record_check import verify
from tests.browser import night as story
from tests.browser.night import PHONE, THREE, Night, at, submit
from treatments.models import CallOut, Need, Plan, PressureWait, Run, Waiver

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page
    from pytest_django import Settings

pytestmark = pytest.mark.django_db(transaction=True)

TABLE_6, FOR_TWO = "Table 6", "Table 6 for two"
D_MIN = 288 + 2 * 25 + 2 * 75 + 30
AIR_6, AIR_TWO = 209_000 + 30_000, 385_000 + 30_000
TABLE_MIN, TENDER_WAIT_MIN, TURN_ROUND_MIN = 288, 1080, 60
ATM_BAR = 1.01325


def litres(gas: str, water: float, gauge_bar: float, celsius: float) -> float:
    """Return litres at 15 degC and 1 atm in a vessel: mass by CoolProp's equation of state over CoolProp's density."""
    held = PropsSI("D", "P", (gauge_bar + ATM_BAR) * 1e5, "T", celsius + 273.15, gas) * water
    return float(held / PropsSI("D", "P", ATM_BAR * 1e5, "T", 288.15, gas))


def drawable(gas: str, water: float, bar: float, celsius: float, lowest: float) -> float:
    return litres(gas, water, bar, celsius) - litres(gas, water, lowest, celsius)


@pytest.fixture
def night(
    page: Page, transactional_db: None, settings: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Night:
    """Return the demo at 03:00 on a phone, after the evening that went before."""
    settings.DATA_DIR, settings.EVIDENCE_DIR = tmp_path, tmp_path / "evidence"
    found = Night(load(demo_set()["today"]).site, page)
    monkeypatch.setattr(events, "now", lambda: found.at)
    story.gauge_broken(found.site)
    story.tender_inside(found.site)
    page.set_viewport_size({"width": PHONE["width"], "height": PHONE["height"]})
    page.clock.install(time=THREE)
    found.sign_in("supervisor")
    return found


def test_the_sums_of_the_night_by_hand() -> None:
    assert D_MIN == 518 == 8 * 60 + 38
    bank = drawable("Air", 4 * 350, 212, 9, 14)
    # Z of air by CoolProp 8.0.0 at 9 degC: 1.0235 at 212 bar, 0.9933 at 14 bar; 0.9996 at 15 degC and 1 atm
    by_z = 1400 / ATM_BAR * 288.15 * 0.9996 / 282.15 * ((212 + ATM_BAR) / 1.0235 - (14 + ATM_BAR) / 0.9933)
    assert bank == pytest.approx(by_z, rel=0.0005)
    assert AIR_6 == 239_000 < bank < AIR_TWO == 415_000
    assert at("18:15", 11) + timedelta(minutes=720) == at("06:15")
    assert at("03:25") + timedelta(minutes=D_MIN - 30) == at("11:33")
    assert at("03:25") + timedelta(minutes=TABLE_MIN) == at("08:13")
    assert at("08:13") + timedelta(minutes=TENDER_WAIT_MIN) == at("02:13", 13)


def test_the_answer_at_three_and_its_reasons(night: Night, barriers: Callable[[Page], list[str]]) -> None:
    page = night.page
    assert page.locator("h1").inner_text() == "No table can start now."
    assert "+00 5550 2200" in night.words()  # the duty physician stands on the page that says no
    assert barriers(page) == []
    for table in (TABLE_6, FOR_TWO):
        assert "Not ready" in night.plate(table)
    assert "8 h 38" in night.plate(TABLE_6)
    told = night.answers()
    assert told[TABLE_6]["in_the_way"] == ["il-depth"]
    assert set(told[FOR_TWO]["in_the_way"]) == {"il-depth", "air", "crew"}
    six = night.go("readiness:why", "chamber-1", "table-6")
    assert "calibration was due 3 Feb 2026" in six
    assert "glass cracked" in six
    assert PressureWait.objects.get(person__key="e-mork").ends_at == at("06:15")
    shown = re.search(r"([\d ,\u202f\u00a0]+) L counted of 415", night.go("readiness:why", "chamber-1", "table-6-two"))
    assert shown is not None
    counted = float(re.sub(r"\D", "", shown[1]))
    assert counted == pytest.approx(drawable("Air", 4 * 350, 212, 9, 14), rel=0.001)
    crew = told[FOR_TWO]["findings"]["crew"]
    assert crew["filled"][0] == crew["slots"] - 1
    assert {"person": "e-mork", "role": "inside tender", "lacks": ["wait"]} in crew["lifts"]
    night.go("readiness:now")


def test_the_call_the_waiver_the_run_and_the_morning_after(night: Night) -> None:
    call = call_begun(night)
    asked_and_answering(night, call)
    table_decided(night, call)
    waived_on_the_telephone(night)
    run = run_started(night, call)
    chamber_in_use(night)
    surface_reached(night, run)
    morning_after(night)
    call_over(night, call, run)
    assert verify().faults == ()


def call_begun(night: Night) -> CallOut:
    """One tap on the Now page: the clock runs, and those on duty at three are asked."""
    night.clock("03:01")
    night.go("readiness:now")
    submit(night.page, "Start call-out")
    call = CallOut.objects.get()
    assert call.began_at == at("03:01")
    on_duty = {"Eirik Mork", "Jon Hovland", "Karin Lindqvist", "Mari Tangen", "Sindre Aune"}
    assert {one.person.name for one in call.people.all()} == on_duty
    night.clock("03:04")
    assert "Call-out 3 min" in night.go("readiness:call", call.pk)
    on_the_first_screen(night.page)
    return call


def on_the_first_screen(page: Page) -> None:
    """Before a thumb moves, the phone shows the state of each table, what is in its way, and the first number to ring."""
    states, nav = page.locator(".state-fold"), page.locator("nav.index").bounding_box()
    assert nav is not None
    assert states.count() == Plan.objects.filter(retired_at=None).count()
    for one in (states.last, page.locator(".calls a").first):
        box = one.bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= nav["y"], box
    assert "Inner-lock depth" in states.filter(has_text=FOR_TWO).locator("summary").inner_text()


def asked_and_answering(night: Night, call: CallOut) -> None:
    """Mari Tangen comes within a quarter of an hour: 03:04 + 15 min = 03:19. Eirik Mork cannot."""
    page = night.page
    for name, said, minutes in (("Mari Tangen", "is coming", "15"), ("Eirik Mork", "cannot come", "")):
        row = page.locator("li").filter(has=page.get_by_text(name, exact=True))
        row.locator("[name=minutes]").fill(minutes)
        row.get_by_role("button", name=said, exact=True).click()
        page.wait_for_load_state()
    told = {one.person.key: (one.answer, one.expected_at) for one in call.people.all()}
    assert told["m-tangen"] == ("coming", at("03:19"))
    assert told["e-mork"] == ("cannot", None)
    assert "expected 12 Feb 2026 03:19" in night.words()


def table_decided(night: Night, call: CallOut) -> None:
    """Decided for Table 6, the page lists nothing but what stands between now and seal made for it."""
    page = night.page
    page.select_option("[name=plan]", label=TABLE_6)
    submit(page, "Decide")
    words = night.words()
    between = words[words.index("Between now and seal made:") : words.index("Who was asked")]
    assert "Inner-lock depth" in between
    assert "Air to press" not in between
    call.refresh_from_db()
    assert call.plan is not None
    assert call.plan.key == "table-6"


def waived_on_the_telephone(night: Night) -> None:
    """The physician grants it at 03:05; the supervisor records it; 24 h for the countersign."""
    page = night.page
    night.clock("03:05")
    page.get_by_role("link", name="Waive", exact=True).click()
    assert "calibration was due 3 Feb 2026" in night.words()
    page.fill("[name=accepts]", "0")
    page.fill("[name=why]", "gauge 2 is nine days over its date and agreed with the inside gauge last evening")
    page.fill("[name=counter_measure]", "the tender reads the inside gauge IL-D3 aloud at each stop")
    page.fill("[name=ends_at]", "12 Feb 2026 09:00")
    page.fill("[name=granted_by]", "Jon Hovland")
    page.fill("[name=password]", DEMO_PASSWORD)
    submit(page, "Record the waiver")
    row = Waiver.objects.latest("pk")
    assert (row.spoken, row.countersigned_at, row.countersign_by) == (True, None, at("03:05", 13))
    assert (row.need, row.plans) == (Need.objects.get(key="il-depth"), ["table-6"])
    told = night.answers()
    assert (told[TABLE_6]["state"], told[FOR_TWO]["state"]) == ("Ready with limits", "Not ready")
    assert told[TABLE_6]["findings"]["il-depth"]["without_waiver"] == "stops"
    assert (told[TABLE_6]["holds_until"], told[TABLE_6]["limiting"]) == ("2026-02-12T08:00Z", ["il-depth"])
    night.go("readiness:now")
    assert "Ready with limits" in night.plate(TABLE_6)
    assert "09:00" in night.plate(TABLE_6)


def run_started(night: Night, call: CallOut) -> Run:
    """Opened from the call at 03:20 with its people; left surface at 03:25, inside the house rules."""
    page = night.page
    night.clock("03:20")
    night.go("readiness:call", call.pk)
    page.get_by_role("link", name="Start run").click()
    assert page.locator("[name=plan] option:checked").inner_text().startswith("Table 6, 1 patient")
    page.locator("[name=purpose][value=treatment]").check()
    page.select_option("[name=panel]", label="Sindre Aune")
    page.select_option("[name=tender]", label="Mari Tangen")
    page.fill("[name=patients]", "1")
    submit(page, "Open the run")
    night.clock("03:25")
    page.get_by_role("link", name="Left surface").click()
    page.fill("[name=at]", "12 Feb 2026 03:25")
    page.locator("main form button.main").click()
    page.wait_for_load_state()
    run = Run.objects.get(ended_at=None)
    assert (run.started_at, run.planned_end_at) == (at("03:25"), at("11:33"))
    assert not run.outside_house_rules
    assert "Ready with limits" in run.shown
    return run


def chamber_in_use(night: Night) -> None:
    """While it is on, no plan of the chamber may start; free 60 min after its planned end: 11:33 + 1 h = 12:33."""
    night.clock("04:00")
    for one in night.answers().values():
        assert one["state"] == "Not ready"
        assert "chamber" in one["in_the_way"]
    assert "12:33" in night.go("readiness:why", "chamber-1", "table-9")


def surface_reached(night: Night, run: Run) -> None:
    """Recorded at 08:15 for 08:13; the tender waits 18 h from surface, and not from when it was entered."""
    page = night.page
    night.clock("08:15")
    night.go("treatments:run", run.pk)
    page.get_by_role("link", name="Reached surface").click()
    page.fill("[name=at]", "12 Feb 2026 08:13")
    page.locator("main form button.main").click()
    page.wait_for_load_state()
    run.refresh_from_db()
    assert run.ended_at == at("08:13")
    wait = PressureWait.objects.get(run=run)
    assert (wait.person.key, wait.starts_at, wait.ends_at) == ("m-tangen", at("03:25"), at("02:13", 13))
    assert "13 Feb 2026 02:13" in night.words()


def call_over(night: Night, call: CallOut, run: Run) -> None:
    """Ended from its page, the call knows the run that followed it; the full check before a run is still owed."""
    night.clock("08:20")
    night.go("readiness:call", call.pk)
    night.page.fill("[name=outcome]", "treated, relieved")
    submit(night.page, "The call is over")
    call.refresh_from_db()
    assert (call.run, call.ended_at) == (run, at("08:20"))


def morning_after(night: Night) -> None:
    """The chamber is free, nothing is known of the gas until it is read, and the evening's check is void."""
    told = night.answers()
    for name in ("air", "oxygen", "daily-check"):
        assert told[TABLE_6]["findings"][name]["state"] == "not known", name
    assert "chamber" not in (told[TABLE_6]["findings"]["il-depth"], told[TABLE_6].get("waivers"))
    waits = {one["person"] for one in told[FOR_TWO]["findings"]["crew"]["lifts"] if "wait" in one["lacks"]}
    assert waits == {"m-tangen"}, "Eirik Mork's wait ended at 06:15, Mari Tangen's lasts until 02:13 of the 13th"
