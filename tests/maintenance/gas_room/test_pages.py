"""Pages of the gas room, walked as an operator: nothing typed is lost, and the numbers can be worked by hand."""

from __future__ import annotations

import io
import re
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from CoolProp import CoolProp
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from facility.models import Site
from maintenance.models import BankReading, DeliveredCylinder, GasSample, Supply, WorkRecord
from maintenance.services import record_reading
from tests import make
from tests.maintenance.gas_room.support import EN_12021, EUROPE, adopt, analyser, delivered, now, operator_of

pytestmark = pytest.mark.django_db


def a_photo() -> bytes:
    """Return a small picture."""
    content = io.BytesIO()
    Image.new("RGB", (4, 4), "white").save(content, "PNG")
    return content.getvalue()


@pytest.fixture
def site() -> Site:
    found = make.site()
    adopt(found, "oxygen_limit_set", EUROPE)
    adopt(found, "air_limit_set", EN_12021)
    return found


def typed_analysis(**fields: Any) -> dict[str, Any]:
    """Return what is typed into the form of an analysis."""
    return {
        "analysed_at": f"{now() - timedelta(minutes=5):%d %b %Y %H:%M}Z", "analysed_by": "Ina Test", "pressure": "200,0",
        "unit": "bar", "temperature_c": "15", "o2": "99.6", "shown_version": "1",
    } | fields  # fmt: skip


def accepted(site: Site, client: Any) -> DeliveredCylinder:
    """Return a cylinder that went through every page into a bank."""
    row = delivered(site)
    address = reverse("maintenance:analyse", args=[site.key, row.pk])
    assert client.post(address, typed_analysis(analyser=analyser(site).pk)).status_code == 302
    bank = make.bank(site, minimum_pressure=Decimal(7))
    answer = client.post(reverse("maintenance:accept", args=[site.key, row.pk]), {"bank": bank.pk, "shown_version": 2})
    assert answer.status_code == 302
    row.refresh_from_db()
    return row


def test_a_delivery_is_typed_in_with_its_cylinders(site: Site) -> None:
    client = operator_of(site)
    answer = client.post(reverse("maintenance:add_delivery", args=[site.key]), {
        "gas": "O2", "supplier": "Bergvik Gass", "note_number": "N-8", "received_at": "1 Mar 2026 10:00",
        "received_by": "Ina Test",
    }, follow=True)  # fmt: skip
    assert answer.status_code == 200
    address = answer.redirect_chain[-1][0]
    page = client.post(address, {"mark": "BG-1", "water_litres": "50", "unit": "bar", "tested_on": "28 Feb 2021",
                                 "term": "dot-3aa-5"}, follow=True)  # fmt: skip
    assert "BG-1" in page.content.decode()
    # 49 CFR 180.209: five years from the stamp, good through the end of its month
    assert str(DeliveredCylinder.objects.get().test_due_on) == "2026-02-28"
    row_page = client.get(reverse("maintenance:delivered", args=[site.key, DeliveredCylinder.objects.get().pk]))
    assert "Pressure test overdue since 28 Feb 2026" in row_page.content.decode()


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        ("o2", "101", "less than or equal to 100"), ("o2", "", "required"), ("o2", "much", "is not a number"),
        ("pressure", "3000", "Look at gauge and unit again"), ("temperature_c", "80", "lies outside"),
        ("analysed_at", "1 Jan 2190 10:00", "lies after now"), ("pressure", "-1", "greater than or equal to 0"),
    ],
)  # fmt: skip
def test_a_slip_in_an_analysis_is_refused_with_all_that_was_typed(
    site: Site, field: str, typed: str, says: str
) -> None:
    row = delivered(site)
    answer = operator_of(site).post(
        reverse("maintenance:analyse", args=[site.key, row.pk]), typed_analysis(**{field: typed})
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert says in page
    assert 'value="Ina Test"' in page
    row.refresh_from_db()
    assert row.analysed_at is None


def test_3000_bar_is_asked_once_and_then_taken_as_typed(site: Site) -> None:
    row = delivered(site)
    client, address = operator_of(site), reverse("maintenance:analyse", args=[site.key, row.pk])
    page = client.post(address, typed_analysis(pressure="3000")).content.decode()
    found = re.search(r'name="sure" value="([^"]+)"', page)
    assert found
    assert client.post(address, typed_analysis(pressure="3000", sure=found[1])).status_code == 302
    row.refresh_from_db()
    assert row.pressure == 3000


def test_two_deciding_at_once_hear_of_each_other(site: Site) -> None:
    row = delivered(site)
    client, address = operator_of(site), reverse("maintenance:analyse", args=[site.key, row.pk])
    assert client.post(address, typed_analysis()).status_code == 302
    answer = client.post(address, typed_analysis(o2="99.7"))
    assert answer.status_code == 422
    assert "was changed by" in answer.content.decode()


def test_a_wrong_gas_is_loud_on_its_page(site: Site) -> None:
    row = delivered(site)
    client = operator_of(site)
    client.post(reverse("maintenance:analyse", args=[site.key, row.pk]), typed_analysis(o2="20.9"))
    page = client.get(reverse("maintenance:delivered", args=[site.key, row.pk])).content.decode()
    assert "Could the gas be wrong?" in page
    assert "unconfirmed: from memory" in page  # the pharmacopoeia's limit
    assert reverse("maintenance:accept", args=[site.key, row.pk]) not in page


def test_a_refusal_keeps_a_photo_and_offers_words(site: Site) -> None:
    row = delivered(site)
    client, address = operator_of(site), reverse("maintenance:refuse", args=[site.key, row.pk])
    assert client.post(address, {"because": " ", "shown_version": 1}).status_code == 422
    photo = SimpleUploadedFile("a.png", a_photo(), "image/png")
    page = client.post(address, {"because": "valve is bent", "shown_version": 1, "photo": photo}, follow=True)
    assert "valve is bent" in page.content.decode()
    row.refresh_from_db()
    assert row.photo is not None
    wrong = SimpleUploadedFile("a.png", b"no picture", "image/png")
    again = client.post(reverse("maintenance:refuse", args=[site.key, delivered(site, mark="BG-2").pk]),
                        {"because": "bent", "shown_version": 1, "photo": wrong})  # fmt: skip
    assert again.status_code == 422


def test_the_gauge_after_hook_up_is_compared_with_the_sum_and_a_difference_asks_to_be_explained(site: Site) -> None:
    """One cylinder alone: the sum is its own pressure, 200 bar; the house allows 3 %, that is 6 bar."""
    client = operator_of(site)
    row = accepted(site, client)
    address = reverse("maintenance:hook_up", args=[site.key, row.pk])
    typed = {"read_at": f"{now():%d %b %Y %H:%M}Z", "pressure": "190", "temperature_c": "15", "read_by": "Ina Test",
             "shown_version": "3"}  # fmt: skip
    page = client.post(address, typed, follow=True).content.decode()
    assert "To be explained." in page
    row.refresh_from_db()
    assert (row.judged["hook_up"]["expected"], row.judged["hook_up"]["limit"]) == ("200.0", "6.0")
    assert BankReading.objects.filter(cylinder=None).get().pressure == 190  # kept all the same
    findings = client.get(reverse("maintenance:cross_checks", args=[site.key])).content.decode()
    assert "gauge 190 bar" in findings
    done = client.post(address, {"explanation": "valve of the panel was shut", "shown_version": "4"}, follow=True)
    assert "Explained: valve of the panel was shut" in done.content.decode()
    assert "gauge 190 bar" not in client.get(reverse("maintenance:cross_checks", args=[site.key])).content.decode()


def test_every_figure_of_a_bank_can_be_worked_by_hand_from_its_page(site: Site) -> None:
    """CoolProp gives Z and the density; the rest is p V M / (Z R T) with the figures on the page."""
    client = operator_of(site)
    row = accepted(site, client)
    assert row.cylinder is not None
    page = client.get(reverse("maintenance:bank", args=[site.key, row.cylinder.bank_id])).content.decode()
    found = re.search(
        r"([\d.]+) kPa abs · (\d+) L · ([\d.]+) kg/mol / \(([\d.]+) · ([\d.]+) J/\(mol K\) · ([\d.]+) K\) = ([\d.]+) kg",
        page,
    )
    assert found
    pressure, water, molar, z, constant, kelvin, kilograms = map(float, found.groups())
    assert pressure * water * molar / (z * constant * kelvin) == pytest.approx(kilograms, abs=1e-3)
    assert z == pytest.approx(CoolProp.PropsSI("Z", "P", 20_101_325, "T", 288.15, "Oxygen"), abs=6e-4)
    assert kilograms == pytest.approx(0.05 * CoolProp.PropsSI("D", "P", 20_101_325, "T", 288.15, "Oxygen"), rel=1e-3)
    assert "at most 0.0006 off" in page


@pytest.mark.parametrize(("o2", "co", "result"), [("20.9", "4", "passed"), ("20.9", "8", "failed")])
def test_a_sample_answers_the_act_of_its_compressor(site: Site, o2: str, co: str, result: str) -> None:
    """EN 12021:2014: CO at most 5 ppm, water at most 25 mg/m3 at the compressor's outlet."""
    compressor = make.equipment(site, kind="compressor", tag="CP-1", name="Compressor")
    rule = make.rule(compressor, name="air test", months=3)
    client = operator_of(site)
    page = client.post(reverse("maintenance:add_sample", args=[site.key]), {
        "gas": "AIR", "point": "compressor outlet", "equipment": compressor.pk, "rule": rule.pk, "pressure_bar": "200",
        "taken_at": f"{now():%d %b %Y %H:%M}Z", "taken_by": "Ina Test", "laboratory": "Luftprov", "o2": o2, "co": co,
        "co2": "450", "oil": "0.3", "water": "20", "odour": "none",
    }, follow=True).content.decode()  # fmt: skip
    assert WorkRecord.objects.get(rule=rule).result == result
    assert GasSample.objects.get().passed is (result == "passed")
    assert (f"equipment={compressor.pk}" in page) is (result == "failed")  # leads on to a defect
    assert "adopted by the house: decides" in page


def test_a_sample_without_a_measurer_or_a_value_is_refused(site: Site) -> None:
    typed = {"gas": "AIR", "point": "bank", "pressure_bar": "200", "taken_at": "1 Mar 2026 10:00", "taken_by": "Ina"}
    client, address = operator_of(site), reverse("maintenance:add_sample", args=[site.key])
    assert "or the laboratory that measured" in client.post(address, typed).content.decode()
    answer = client.post(address, typed | {"laboratory": "Luftprov"})
    assert "Nothing was measured" in answer.content.decode()
    other = make.rule(make.equipment(site))
    assert "is of another item" in client.post(
        address, typed | {"laboratory": "L", "co": "1", "rule": other.pk}
    ).content.decode()  # fmt: skip


def test_the_gas_page_tells_use_and_the_day_to_order_by(site: Site) -> None:
    client = operator_of(site)
    row = accepted(site, client)
    assert row.cylinder is not None
    for days, pressure in ((60, 200), (30, 150), (1, 100)):
        record_reading(
            BankReading(bank=row.cylinder.bank, read_at=now() - timedelta(days=days), pressure=Decimal(pressure),
                        unit="bar", temperature_c=Decimal(15), read_by="Ina Test"),
            by=make.BY,
        )  # fmt: skip
    from facility import services

    services.add(Supply(site=site, gas="O2", supplier="Bergvik Gass", lead_days=10, weekdays=[2, 5]), by=make.BY)
    page = client.get(reverse("maintenance:gas", args=[site.key])).content.decode()
    assert "Order by" in page
    assert "polyline" in page
    assert "L a day" in page


def test_the_number_of_queries_of_the_gas_pages_does_not_grow(site: Site) -> None:
    client = operator_of(site)
    counted = []
    for round_number in range(2):
        row = delivered(site, mark=f"BG-{round_number}")
        address = reverse("maintenance:analyse", args=[site.key, row.pk])
        client.post(address, typed_analysis(analyser=analyser(site).pk))
        bank = make.bank(site)
        client.post(reverse("maintenance:accept", args=[site.key, row.pk]), {"bank": bank.pk, "shown_version": 2})
        numbers = []
        for name in ("gas", "cross_checks", "deliveries", "samples"):
            with CaptureQueriesContext(connection) as asked:
                assert client.get(reverse(f"maintenance:{name}", args=[site.key])).status_code == 200
            numbers.append(len(asked))
        counted.append(numbers)
    assert counted[0] == counted[1]


def test_a_supply_names_its_delivery_days(site: Site) -> None:
    client = operator_of(site)
    address = reverse("records:add", args=[site.key, "supply"])
    answer = client.post(address, {"gas": "O2", "supplier": "Bergvik Gass", "lead_days": "10", "weekdays": ["2", "5"]})
    assert answer.status_code == 302, answer.content.decode()
    assert Supply.objects.get().weekdays == [2, 5]
    assert "Tuesday" in client.get(address).content.decode()
