"""Numbers without end where a page sends back a row or a count: refused like any other, on either database."""

from __future__ import annotations

import pytest
from django.db import DataError, connection
from django.test import Client
from django.urls import reverse

from facility.models import Event, Person, SiteRole
from tests import make

pytestmark = pytest.mark.django_db
BEYOND_BITS = "9" * 30
"""More than 64 bits hold (SQLite, "Datatypes In SQLite", section 2)."""
BEYOND_TEXT = "9" * 5000
"""More figures than Python turns into a number (Python, "Integer string conversion length limitation")."""


@pytest.mark.parametrize("number", [BEYOND_BITS, BEYOND_TEXT])
@pytest.mark.parametrize(
    ("page", "names"),
    [
        ("practice:hold_drill", ["people"]),
        ("maintenance:raise_defect", ["equipment", "bank"]),
        ("treatments:new_plan", ["needs", "extension-TOTAL_FORMS", "role-TOTAL_FORMS", "more"]),
        ("treatments:new_table", ["row-TOTAL_FORMS", "extension-TOTAL_FORMS", "more"]),
    ],
)
def test_a_number_without_end_is_refused_with_the_form(page: str, names: list[str], number: str) -> None:
    site = make.site()
    make.chamber(site)
    client = Client()
    client.force_login(make.user(site, SiteRole.DIRECTOR), backend="django.contrib.auth.backends.ModelBackend")
    before = Event.objects.count()
    answer = client.post(reverse(page, args=[site.key]), dict.fromkeys(names, number))
    assert answer.status_code in (200, 422)
    assert "<form" in answer.text
    assert Event.objects.count() == before


def test_no_row_has_a_number_beyond_64_bits_and_none_is_written() -> None:
    make.user()
    assert not Person.objects.filter(pk__in=[int(BEYOND_BITS)]).exists()
    with pytest.raises(DataError), connection.cursor() as cursor:
        cursor.execute("UPDATE facility_user SET date_joined = date_joined WHERE id = %s + 0", [2**63])
