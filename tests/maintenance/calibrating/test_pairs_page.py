"""Two gauges on one line and two clocks: beyond their limit it is noted on both."""

from __future__ import annotations

import pytest
from django.urls import reverse

from maintenance.models import Happening
from tests import make
from tests.maintenance.calibrating import support

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("second", "noted"), [("160", 0), ("159", 2)])
def test_two_gauges_that_differ_by_more_than_two_percent_are_noted_on_both(second: str, noted: int) -> None:
    """46 CFR 197.458(b), 0 to 250 fsw: 165 against 160 is exactly 2 % and no trigger, 165 against 159 is one."""
    site = make.site()
    one, other = make.equipment(site), make.equipment(site)
    typed = {"first": one.pk, "second": other.pk, "first_reading": "165", "second_reading": second,
             "full_scale": "250", "unit": "fsw"}  # fmt: skip
    support.client(site).post(reverse("maintenance:compare_pair", args=[site.key]), typed)
    found = Happening.objects.filter(kind="two gauges disagree")
    assert {row.equipment for row in found} == ({one, other} if noted else set())


def test_two_clocks_apart_by_more_than_a_quarter_minute_in_four_hours_are_noted_on_both() -> None:
    """46 CFR 197.458(c)."""
    site = make.site()
    pair = {"first": make.equipment(site, kind="clock").pk, "second": make.equipment(site, kind="clock").pk}
    address = reverse("maintenance:compare_pair", args=[site.key]) + "?clocks=1"
    browser = support.client(site)
    assert "They agree" in browser.post(address, pair | {"apart_s": "15", "span_h": "4"}).content.decode()
    assert browser.post(address, pair | {"apart_s": "15.1", "span_h": "4"}).status_code == 302
    assert Happening.objects.filter(kind="two clocks disagree").count() == 2


def test_a_pair_of_one_and_the_same_is_refused() -> None:
    site = make.site()
    item = make.equipment(site)
    typed = {"first": item.pk, "second": item.pk, "first_reading": "1", "second_reading": "1", "full_scale": "0",
             "unit": "fsw"}  # fmt: skip
    answer = support.client(site).post(reverse("maintenance:compare_pair", args=[site.key]), typed)
    assert answer.status_code == 422
    assert "is named twice" in answer.content.decode()
    assert "must be more than 0" in answer.content.decode()
