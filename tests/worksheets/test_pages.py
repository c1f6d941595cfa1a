"""Pages of the worksheets: who sees them, the example worked out, a refusal at its field."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from django.urls import reverse

from facility.compute.worksheet_reading import read
from facility.worksheets.catalogue import worksheets
from facility.worksheets.forms import as_json, as_typed, examples
from tests import make

if TYPE_CHECKING:
    from django.test import Client

pytestmark = pytest.mark.django_db
GAS = "/worksheets/gas_content/"


@pytest.mark.parametrize("address", ["/worksheets/", GAS])
def test_nobody_is_sent_to_sign_in(client: Client, address: str) -> None:
    assert client.get(address).status_code == 302
    assert client.post(address).status_code == 302


def test_the_list_leads_to_each_worksheet(client: Client) -> None:
    client.force_login(make.supervisor(make.site()))
    page = client.get(reverse("worksheets:every")).content.decode()
    assert all(f'href="/worksheets/{name}/"' in page for name in worksheets())


@pytest.mark.parametrize("name", list(worksheets()))
def test_each_worksheet_works_out_its_example(client: Client, name: str) -> None:
    client.force_login(make.supervisor(make.site()))
    address = reverse("worksheets:worksheet", args=[name])
    assert client.get(address).status_code == 200
    answer = client.post(address, examples(worksheets()[name]))
    assert answer.status_code == 200, answer.context["form"].errors
    assert b'id="result"' in answer.content


def test_a_page_shows_formula_source_standing_and_caution(client: Client) -> None:
    client.force_login(make.supervisor(make.site()))
    page = client.get("/worksheets/gauge_calibration/").content.decode()
    assert "JCGM 100:2008" in page
    assert "Unconfirmed" in page
    assert "authority having jurisdiction" in page
    assert "error = indication - reference" in page


def test_a_refused_value_stands_at_its_field_and_is_kept(client: Client) -> None:
    client.force_login(make.supervisor(make.site()))
    answer = client.post(GAS, examples(worksheets()["gas_content"]) | {"temperature": "<b>99"})
    assert answer.status_code == 422
    assert "temperature" in answer.context["form"].errors
    assert b"&lt;b&gt;99" in answer.content
    assert b"<b>99" not in answer.content


def test_a_refusal_of_the_computation_is_shown_too(client: Client) -> None:
    client.force_login(make.supervisor(make.site()))
    answer = client.post(GAS, examples(worksheets()["gas_content"]) | {"pressure": "340"})
    assert answer.status_code == 422
    assert "311 bar" in str(answer.context["form"].errors["pressure"])


def test_an_unknown_worksheet_is_not_found(client: Client) -> None:
    client.force_login(make.supervisor(make.site()))
    assert client.get("/worksheets/nothing/").status_code == 404


@pytest.mark.parametrize("name", list(worksheets()))
def test_what_is_typed_is_what_the_example_says(name: str) -> None:
    """Text of a field read back gives the same values as the example given as JSON."""
    worksheet = worksheets()[name]
    typed = {one.name: as_json(one, as_typed(one, one.example)) for one in worksheet.inputs}
    assert read(worksheet.inputs, typed) == read(worksheet.inputs, worksheet.examples)
