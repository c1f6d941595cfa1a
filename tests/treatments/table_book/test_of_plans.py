"""A plan names the table that its runs follow: a shipped one, or one of the site's own in force."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.urls import reverse

from tests import make
from tests.treatments.table_book.support import PARTS, actor, director, signed_in
from tests.treatments.test_runs import plan_of
from treatments.models import Plan
from treatments.services import known_tables
from treatments.table_book.services import approve, propose
from treatments.table_book.tables import as_in_force, known_keys

pytestmark = pytest.mark.django_db


def test_a_plan_names_a_table_that_counts_at_its_site() -> None:
    chamber = make.chamber()
    site = chamber.site
    assert plan_of(chamber, table="TT5").table == "TT5"
    with pytest.raises(ValidationError, match="no treatment table here"):
        plan_of(chamber, key="house", table="house-oxygen")
    row = propose(site, "house-oxygen", PARTS, "house book", by=actor(director(site)))
    with pytest.raises(ValidationError, match="no treatment table here"):
        plan_of(chamber, key="house", table="house-oxygen")
    approve(row, shown_digest=as_in_force(row).digest, by=actor(director(site, "Olav", "Dahl")))
    assert plan_of(chamber, key="house", table="house-oxygen").table == "house-oxygen"
    with pytest.raises(ValidationError, match="no treatment table here"):
        plan_of(make.chamber(), table="house-oxygen")
    assert list(known_tables(site)) == known_keys(site)


def test_the_form_offers_the_tables_and_the_page_leads_to_the_one_named() -> None:
    chamber = make.chamber()
    plan = plan_of(chamber, table="TT5")
    client = signed_in(director(chamber.site))
    form = client.get(reverse("treatments:change_plan", args=[chamber.site.key, plan.pk])).context["form"]
    assert ("TT6", "TT6: Treatment Table 6") in form.fields["table"].choices
    assert form["table"].value() == "TT5"
    page = client.get(reverse("treatments:plan", args=[chamber.site.key, plan.pk])).content.decode()
    assert reverse("treatments:table", args=[chamber.site.key, "TT5"]) in page


def test_the_plans_of_the_demo_name_their_tables(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR, settings.EVIDENCE_DIR = tmp_path, tmp_path / "evidence"
    call_command("load_demo", verbosity=0)
    found = dict(Plan.objects.filter(retired_at=None).values_list("key", "table"))
    assert found == {
        "table-5": "TT5", "table-6": "TT6", "table-6-two": "TT6", "table-6a": "TT6A", "table-9": "TT9",
        "table-1a": "TT1A", "training-air": "",
    }  # fmt: skip
