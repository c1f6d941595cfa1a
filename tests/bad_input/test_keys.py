"""Keys that would hide a page, keys that change, and keys or serial numbers entered twice."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from facility import services
from facility.models import Event, Site
from facility.models.site import TAKEN_ADDRESSES
from maintenance.models import Equipment
from tests import make

pytestmark = pytest.mark.django_db


def first_parts(patterns: list[URLPattern | URLResolver], before: str = "") -> set[str]:
    """Return the fixed first parts of all addresses, as Django's own resolver knows them."""
    found: set[str] = set()
    for one in patterns:
        route = before + str(one.pattern)
        if isinstance(one, URLResolver):
            found |= first_parts(one.url_patterns, route)
        else:
            found.add(route.lstrip("^/").split("/")[0])
    return {part for part in found if part and not part.startswith("<") and "." not in part}  # no key has a point


def test_every_fixed_first_part_of_an_address_is_refused_as_the_key_of_a_site() -> None:
    fixed = first_parts(get_resolver().url_patterns)
    assert {"import", "account", "sign-in", "first-user"} <= fixed
    assert fixed - TAKEN_ADDRESSES == set()


@pytest.mark.parametrize("key", ["import", "sign-in", "static", "Import"])
def test_a_site_cannot_take_an_address_of_the_app(key: str) -> None:
    with pytest.raises(ValidationError) as refused:
        make.site(key=key)
    assert f"“{key}”" in refused.value.message_dict["key"][0]
    assert "Take another key" in refused.value.message_dict["key"][0]


def test_the_form_of_the_first_site_says_so_beside_the_key_and_keeps_what_was_typed() -> None:
    client = Client()
    client.force_login(make.user(is_superuser=True))
    typed = {"organisation_name": "Ridge Water", "organisation_key": "ridge", "name": "Ridge", "key": "import",
             "zone": "Europe/Oslo"}  # fmt: skip
    answer = client.post(reverse("records:first_site"), typed)
    assert answer.status_code == 422
    assert "Take another key" in answer.context["form"].errors["key"][0]
    assert 'value="Ridge Water"' in answer.content.decode()
    assert not Site.objects.exists()
    assert client.post(reverse("records:first_site"), typed | {"key": "ridge"}).status_code == 302
    again = client.post(reverse("records:first_site"), typed | {"key": "other"})
    assert "ridge" in again.context["form"].errors["organisation_key"][0]


def test_the_key_of_a_site_stays_since_the_log_carries_it() -> None:
    site = make.site()
    old = site.key
    site.key = "another"
    with pytest.raises(ValidationError, match=f"The key stays “{old}”"):
        services.change(site, by=make.BY, reason="A nicer key.", shown_version=site.row_version)
    assert Event.objects.filter(site_id_text=old).exists()


def test_a_tag_entered_twice_names_the_tag_and_what_to_do() -> None:
    site = make.site()
    make.equipment(site, tag="PG-1")
    with pytest.raises(ValidationError) as refused:
        make.equipment(site, tag="PG-1")
    assert "tag “PG-1”" in str(refused.value)
    assert "Correct that one" in str(refused.value)


def test_a_serial_number_of_the_same_maker_entered_twice_names_the_other_item() -> None:
    site = make.site()
    first = make.equipment(site, maker="Kranz", serial="778-2")
    with pytest.raises(ValidationError) as refused:
        make.equipment(site, maker="Kranz", serial="778-2")
    assert refused.value.message_dict["serial"] == [
        f"Serial number “778-2” of this maker is that of {first} already. Read both plates again."
    ]
    make.equipment(site, maker="Other works", serial="778-2")
    assert Equipment.objects.filter(serial="778-2").count() == 2
