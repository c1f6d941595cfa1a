"""A thing retired by mistake counts again; what something in force rests on is not retired."""

from __future__ import annotations

import json

import pytest
from django.urls import reverse

from facility import services
from facility.models import Event, Kept
from facility.records.in_use import keeps
from facility.records.kinds import BY_SLUG
from facility.services import ChangedMeanwhileError
from tests import make
from tests.facility.readiness_db import build
from tests.records.samples import SAMPLES, account
from tests.records.test_kinds import SLUGS, signed_in

pytestmark = pytest.mark.django_db

THINGS = [slug for slug in SLUGS if slug not in {"site", "organisation"} and not BY_SLUG[slug].is_entry]
STATEMENTS = [slug for slug in SLUGS if BY_SLUG[slug].is_entry]


@pytest.mark.parametrize("slug", THINGS)
def test_a_thing_retired_by_mistake_counts_again_with_a_reason_and_one_event(slug: str) -> None:
    site, sample = make.site(), SAMPLES[slug]
    row: Kept = sample.stored(site)
    services.retire(row, by=make.BY, reason="Taken for another.")
    client = signed_in(account(site, sample.right))
    address = reverse("records:bring_back", args=[site.key, slug, row.pk])
    own_page = reverse("records:detail", args=[site.key, slug, row.pk])
    assert address in client.get(own_page).content.decode()
    assert client.post(address, {"reason": " "}).status_code == 422
    before = Event.objects.count()
    assert client.post(address, {"reason": "It was the other one."}).status_code == 302
    row.refresh_from_db()
    assert (row.retired_at, row.retired_reason) == (None, "")
    assert Event.objects.count() == before + 1
    told = json.loads(Event.objects.latest("seq").payload)
    assert (told["action"], told["reason"]) == ("brought back", "It was the other one.")
    assert told["before"]["retired_reason"] == "Taken for another."
    assert address not in client.get(own_page).content.decode()


@pytest.mark.parametrize("slug", STATEMENTS)
def test_a_statement_is_made_anew_instead(slug: str) -> None:
    site, sample = make.site(), SAMPLES[slug]
    row: Kept = sample.stored(site)
    services.retire(row, by=make.BY, reason="Misread.")
    client = signed_in(account(site, sample.right))
    assert client.post(reverse("records:bring_back", args=[site.key, slug, row.pk]), {"reason": "x"}).status_code == 404
    row.refresh_from_db()
    assert row.retired_at is not None


def test_the_wrong_role_brings_nothing_back() -> None:
    site, sample = make.site(), SAMPLES["equipment"]
    row: Kept = sample.stored(site)
    services.retire(row, by=make.BY, reason="Sold.")
    client = signed_in(account(site, sample.wrong))
    assert (
        client.post(reverse("records:bring_back", args=[site.key, "equipment", row.pk]), {"reason": "x"}).status_code
        == 403
    )


def test_what_counts_already_is_not_brought_back_and_a_number_taken_meanwhile_refuses() -> None:
    site = make.site()
    first = make.equipment(site, maker="Kranz", serial="9")
    with pytest.raises(ChangedMeanwhileError):
        services.bring_back(first, by=make.BY, reason="Twice.")
    services.retire(first, by=make.BY, reason="Sold.")
    other = make.equipment(site, maker="Kranz", serial="9")
    client = signed_in(account(site, SAMPLES["equipment"].right))
    before = Event.objects.count()
    answer = client.post(reverse("records:bring_back", args=[site.key, "equipment", first.pk]), {"reason": "Found."})
    assert answer.status_code == 422
    assert str(other) in answer.content.decode()
    assert Event.objects.count() == before
    first.refresh_from_db()
    assert first.retired_at is not None


def test_a_chamber_with_a_plan_in_force_stays_and_says_which() -> None:
    chamber = make.chamber()
    plan = build.plan(chamber, "table-6")
    client = signed_in(account(chamber.site, "director"))
    address = reverse("records:retire", args=[chamber.site.key, "chamber", chamber.pk])
    answer = client.post(address, {"reason": "Sold."})
    assert answer.status_code == 422
    assert plan.name in answer.content.decode()
    services.retire(plan, by=make.BY, reason="No longer done here.")
    assert client.post(address, {"reason": "Sold."}).status_code == 302


def test_a_qualification_that_a_plan_asks_for_and_an_organisation_with_a_site_stay() -> None:
    chamber = make.chamber()
    kind = make.qualification_kind(chamber.site.organisation, key="panel-operator")
    assert keeps(kind) == ""
    build.plan(chamber, "table-6", roles=[{"role": "panel operator", "count": 1, "qualifications": ["panel-operator"],
                                           "medical": False, "from": 0, "to": None}])  # fmt: skip
    assert "Plans in force rest on it" in keeps(kind)
    assert chamber.site.name in keeps(chamber.site.organisation)
