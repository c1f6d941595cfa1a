"""Every kind of record: list, detail, add, correct, retire, by the right person, the wrong one, nobody, another site."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from facility.models import Event, Kept, Site
from facility.records.kinds import BY_SLUG, KINDS
from tests import make
from tests.records.samples import SAMPLES, account

pytestmark = pytest.mark.django_db
SLUGS = [kind.slug for kind in KINDS]


def signed_in(user: Any) -> Client:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def form_values(client: Client, address: str) -> dict[str, Any]:
    """Return what the shown form would send if nothing were changed."""
    form = client.get(address).context["form"]
    values = {name: form[name].value() for name in form.fields if name != "upload"}
    shown = {name: form.fields[name].prepare_value(value) for name, value in values.items()}
    return {name: value for name, value in shown.items() if value is not None and value is not False}


def test_each_kind_has_a_sample() -> None:
    assert set(SAMPLES) == set(SLUGS)


@pytest.mark.parametrize("slug", SLUGS)
def test_the_right_role_adds_and_exactly_one_event_tells_the_new_values(slug: str) -> None:
    site, sample = make.site(), SAMPLES[slug]
    typed = sample.typed(site)
    client = signed_in(account(site, sample.right))
    before = Event.objects.count()
    answer = client.post(reverse("records:add", args=[site.key, slug]), typed)
    assert answer.status_code == 302, answer.context["form"].errors
    assert Event.objects.count() == before + 1
    told = json.loads(Event.objects.latest("seq").payload)
    assert told["before"] == {}
    assert told["actor"].startswith("Ina Test")
    assert client.get(answer.headers["Location"]).status_code == 200


@pytest.mark.parametrize("slug", SLUGS)
def test_a_correction_keeps_old_and_new_and_its_reason_in_one_event(slug: str) -> None:
    site, sample = make.site(), SAMPLES[slug]
    row = sample.stored(site)
    client = signed_in(account(site, sample.right))
    address = reverse("records:correct", args=[site.key, slug, row.pk])
    field, value = sample.changed
    before = Event.objects.count()
    answer = client.post(address, form_values(client, address) | {field: value, "reason": "Misread"})
    assert answer.status_code == 302, answer.context["form"].errors
    assert Event.objects.count() == before + 1
    told = json.loads(Event.objects.latest("seq").payload)
    assert told["reason"] == "Misread"
    assert [name for name in told["after"] if told["before"].get(name) != told["after"][name]][:1] or slug == "x"
    page = client.get(answer.headers["Location"]).content.decode()
    assert "Misread" in page
    if BY_SLUG[slug].is_entry:
        row.refresh_from_db()
        assert row.retired_reason == "Misread"
        old_page = client.get(reverse("records:detail", args=[site.key, slug, row.pk])).content.decode()
        assert "no longer counts" in old_page
        assert "<s>" in old_page


@pytest.mark.parametrize("slug", [slug for slug in SLUGS if slug not in {"site", "organisation"}])
def test_retiring_asks_for_a_reason_and_leaves_the_row_readable(slug: str) -> None:
    site, sample = make.site(), SAMPLES[slug]
    row: Kept = sample.stored(site)
    client = signed_in(account(site, sample.right))
    address = reverse("records:retire", args=[site.key, slug, row.pk])
    assert client.post(address, {"reason": "  "}).status_code == 422
    before = Event.objects.count()
    assert client.post(address, {"reason": "Sold"}).status_code == 302
    assert Event.objects.count() == before + 1
    row.refresh_from_db()
    assert row.retired_reason == "Sold"
    own_page = reverse("records:detail", args=[site.key, slug, row.pk])
    assert own_page not in client.get(reverse("records:list", args=[site.key, slug])).content.decode()
    assert 'class="struck"' in client.get(reverse("records:list", args=[site.key, slug]) + "?all=1").content.decode()
    assert client.post(address, {"reason": "Again"}).status_code == 409


@pytest.mark.parametrize("slug", SLUGS)
def test_the_wrong_role_and_nobody_change_nothing(slug: str) -> None:
    site, sample = make.site(), SAMPLES[slug]
    row = sample.stored(site)
    typed = sample.typed(site)
    wrong = signed_in(account(site, sample.wrong))
    before = Event.objects.count()
    for name, arguments in (("add", []), ("correct", [row.pk]), ("retire", [row.pk])):
        if slug in {"site", "organisation"} and name == "correct":
            continue  # a director corrects the own site; only adding and retiring are the first account's
        address = reverse(f"records:{name}", args=[site.key, slug, *arguments])
        assert wrong.get(address).status_code == 403
        assert wrong.post(address, typed | {"reason": "x", "shown_version": "1"}).status_code == 403
        nobody = Client().get(address)
        assert nobody.status_code == 302
        assert reverse("accounts:login") in nobody.headers["Location"]
    assert Event.objects.count() == before


@pytest.mark.parametrize("slug", [slug for slug in SLUGS if slug not in {"organisation", "qualification-kind"}])
def test_another_sites_rows_are_not_found(slug: str) -> None:
    here, there, sample = make.site(), make.site(), SAMPLES[slug]
    row = sample.stored(there)
    client = signed_in(account(here, "director"))
    for name in ("detail", "correct"):
        assert client.get(reverse(f"records:{name}", args=[here.key, slug, row.pk])).status_code == 404
    assert client.get(reverse("records:detail", args=[there.key, slug, row.pk])).status_code == 404
    assert client.get(reverse("records:list", args=[there.key, slug])).status_code == 404


@pytest.mark.parametrize("slug", SLUGS)
def test_a_list_and_a_page_take_few_queries_however_many_rows_there_are(
    slug: str, django_assert_max_num_queries: Any
) -> None:
    site, sample = make.site(), SAMPLES[slug]
    row = sample.stored(site)
    client = signed_in(account(site, "inspector"))
    with django_assert_max_num_queries(12) as few:
        assert client.get(reverse("records:list", args=[site.key, slug])).status_code == 200
    count = len(few)
    if slug not in {"site", "organisation"}:
        for _number in range(5):
            sample.stored(site)
    with django_assert_max_num_queries(count):
        client.get(reverse("records:list", args=[site.key, slug]))
    with django_assert_max_num_queries(12):
        assert client.get(reverse("records:detail", args=[site.key, slug, row.pk])).status_code == 200


def test_an_unknown_kind_is_not_found() -> None:
    site: Site = make.site()
    client = signed_in(account(site, "director"))
    for name in ("list", "add"):
        assert client.get(reverse(f"records:{name}", args=[site.key, "submarine"])).status_code == 404


def test_the_record_of_an_item_leads_to_its_due_dates_and_history() -> None:
    item = make.equipment(make.site())
    client = Client()
    client.force_login(make.supervisor(item.site))
    page = client.get(reverse("records:detail", args=[item.site.key, "equipment", item.pk])).content.decode()
    assert reverse("maintenance:item", args=[item.site.key, item.pk]) in page
