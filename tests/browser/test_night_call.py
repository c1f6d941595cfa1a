"""The answer at three in the morning, on a phone, in red light, on the demo, with the sums of that night by hand.

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
from facility.demo.loading import demo_set, load
from tests.browser import night as story
from tests.browser.night import PHONE, THREE, Night, at

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
    shown = re.search(r"([\d ,\u202f\u00a0]+) L counted of 415", night.go("readiness:why", "chamber-1", "table-6-two"))
    assert shown is not None
    counted = float(re.sub(r"\D", "", shown[1]))
    assert counted == pytest.approx(drawable("Air", 4 * 350, 212, 9, 14), rel=0.001)
    crew = told[FOR_TWO]["findings"]["crew"]
    assert crew["filled"][0] == crew["slots"] - 1
    assert {"person": "e-mork", "role": "inside tender", "lacks": ["wait"]} in crew["lifts"]
    night.go("readiness:now")
