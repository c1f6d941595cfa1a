"""Plan and budget, and the page of one item, on a small facility."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from facility import events, services
from facility.models import Site, SiteRole
from maintenance.models import Defect, Happening, WorkRecord
from maintenance.planning.coming import ahead_of
from maintenance.planning.history import history_of
from maintenance.services import raise_defect, record_work
from tests import make

pytestmark = pytest.mark.django_db


@pytest.fixture
def at() -> Site:
    return make.site()


@pytest.fixture
def client_in(at: Site) -> Client:
    client = Client()
    client.force_login(make.user(at, SiteRole.MAINTAINER), backend="django.contrib.auth.backends.ModelBackend")
    return client


def today() -> Any:
    return timezone.now().date()


def test_the_last_price_paid_stands_in_the_budget(at: Site, client_in: Client) -> None:
    rule = make.rule(make.equipment(at), months=6)
    record_work(
        WorkRecord(
            equipment=rule.equipment, rule=rule, done_on=today() - timedelta(days=100), done_by="Ina Test",
            cost=Decimal("1250.50"), currency="NOK",
        ),
        by=make.BY,
    )  # fmt: skip
    text = client_in.get(f"/{at.key}/plan-ahead/?within=12m&as=csv").content.decode()
    lines = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [(line["price"], line["currency"], line["overdue"]) for line in lines] == [("1250.50", "NOK", "no")] * 2


def test_what_was_never_done_is_counted_today_and_has_no_known_price(at: Site, client_in: Client) -> None:
    make.rule(make.equipment(at), months=12)
    page = client_in.get(f"/{at.key}/plan-ahead/?within=30d")
    assert page.context["count"] == 1
    assert page.context["sums"][0].unpriced == 1


def test_an_end_of_life_brings_the_price_of_a_new_one(at: Site, client_in: Client) -> None:
    make.equipment(at, life_ends_on=today() + timedelta(days=400), price_new=Decimal(9000), currency="NOK")
    sums = client_in.get(f"/{at.key}/plan-ahead/?within=24m").context["sums"]
    assert [(one.acts, one.totals) for one in sums[3:]] == [
        (0, {}), (1, {"NOK": Decimal(9000)}), (1, {"NOK": Decimal(9000)}),
    ]  # fmt: skip


def test_the_number_of_queries_does_not_grow_with_the_items(at: Site, django_assert_num_queries: Any) -> None:
    for _number in range(3):
        make.rule(make.equipment(at))
    with CaptureQueriesContext(connection) as few:
        ahead_of(at, today())
    for _number in range(20):
        make.rule(make.equipment(at))
    with django_assert_num_queries(len(few)):
        ahead_of(at, today())


def test_an_unknown_span_falls_back_to_90_days(at: Site, client_in: Client) -> None:
    assert client_in.get(f"/{at.key}/plan-ahead/?within=7y").context["chosen"].key == "90d"


def test_the_page_of_an_item_tells_what_it_is_why_and_what_happened(at: Site, client_in: Client) -> None:
    item = make.equipment(at, tag="IL-D1")
    rule = make.rule(item, months=6)
    make.work(rule, today() - timedelta(days=10))
    page = client_in.get(f"/{at.key}/items/{item.pk}/")
    assert page.context["standing"].word == "In date"
    raise_defect(
        Defect(site=at, equipment=item, what="needle sticks", effect="stops", found_at=events.now()), by=make.BY
    )
    page = client_in.get(f"/{at.key}/items/{item.pk}/")
    assert page.context["standing"].word == "Out of service"
    assert "needle sticks" in page.content.decode()


def test_an_item_without_a_rule_is_not_called_in_date(at: Site, client_in: Client) -> None:
    item = make.equipment(at)
    assert client_in.get(f"/{at.key}/items/{item.pk}/").context["standing"].mark == "unknown"


def test_the_history_is_newest_first_and_keeps_what_was_corrected(at: Site) -> None:
    item = make.equipment(at)
    rule = make.rule(item)
    old = make.work(rule, today() - timedelta(days=40))
    services.supersede(
        old,
        WorkRecord(equipment=item, rule=rule, done_on=today() - timedelta(days=41), done_by="Ina Test"),
        by=make.BY, reason="misread day",
    )  # fmt: skip
    services.add(
        Happening(equipment=item, kind="dropped", happened_on=today() - timedelta(days=1), reported_by="Ina"),
        by=make.BY,
    )
    lines = history_of(item, at)
    assert [line.struck for line in lines] == [False, True, False]
    assert [line.on for line in lines] == sorted((line.on for line in lines), reverse=True)


def test_an_item_of_another_site_is_not_found(client_in: Client, at: Site) -> None:
    assert client_in.get(f"/{at.key}/items/{make.equipment(make.site()).pk}/").status_code == 404
