"""What the log writes short, people read in words; no page shows a key of the program for a word of the trade.

What is asked of the pages here is common practice of this project, no source.
"""

from __future__ import annotations

import html
import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction
from django.test import Client
from django.urls import reverse

from facility import events, services
from facility.events import What
from facility.models import DrillKind, ReadingLink, Site, SiteRole
from facility.readiness.shift import services as shift
from facility.reference import house_rule_definitions
from facility.visits.services import open_door
from facility.worksheets.catalogue import worksheets
from maintenance.models import Defect
from tests import make
from tests.treatments.plan_maker.test_making import filled_bank

pytestmark = pytest.mark.django_db
OWN = Path(__file__).parent.parent / "data" / "own_facility"


@pytest.fixture
def site() -> Site:
    call_command("import_facility", str(OWN), verbosity=0)
    return Site.objects.get()


def words(site: Site, name: str, *keys: Any) -> str:
    """Return the words of a page of the site as its director reads it."""
    client = Client()
    client.force_login(make.user(site, SiteRole.DIRECTOR), backend="django.contrib.auth.backends.ModelBackend")
    text = client.get(reverse(name, args=[site.key, *keys])).content.decode()
    return plain(text)


def plain(text: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def test_what_the_daily_look_found_is_read_in_words_wherever_events_are_told(site: Site) -> None:
    chamber = site.chambers.get()
    with transaction.atomic():
        found = events.record(chamber, What("flag:overdue", site_key=site.key), by=events.system("sweep"))
    pages = (
        words(site, "records:detail", "chamber", chamber.pk), words(site, "places:events"),
        words(site, "places:event", found.seq), words(site, "visits:since"),
        " ".join(shift.prepare(site, events.now())["changed"]),
    )  # fmt: skip
    for page in pages:
        assert "ound by the daily look: overdue" in page
        assert "this box (sweep)" in page
    for page in (*pages[:2], *pages[3:]):
        assert "flag:" not in page
        assert "system:" not in page


def test_who_was_given_a_role_by_a_command_was_given_it_by_the_box(site: Site) -> None:
    person, user = site.people.all()[0], make.user(site, SiteRole.TENDER)
    person.user = user
    person.save()
    user.memberships.update(recorded_by="system:demo")
    now = events.now()
    row = ReadingLink(site=site, name="Ada Test", opens_at=now, ends_at=now + timedelta(days=3))
    _link, secret = open_door(row, by=make.BY)
    page = plain(Client().get(reverse("visits:look_person", args=[secret, person.pk])).content.decode())
    assert "given by this box (demo)" in page
    assert "system:" not in page


def test_a_page_read_by_link_names_the_site_at_its_head_and_leads_back_to_itself(site: Site) -> None:
    now = events.now()
    row = ReadingLink(site=site, name="Ada Test", opens_at=now, ends_at=now + timedelta(days=3))
    _link, secret = open_door(row, by=make.BY)
    address = reverse("visits:look", args=[secret])
    page = Client().get(reverse("visits:look_item", args=[secret, site.equipment.all()[0].pk])).content.decode()
    block = page[page.index('<header class="block">') : page.index("</header>")]
    assert f'href="{address}"' in block
    assert site.name in block
    assert "Printed, UTC" in block, "a page of paper says of when it is"


def test_lists_of_rules_and_worksheets_name_them_in_words_and_not_by_their_key(site: Site) -> None:
    rules, sheets = words(site, "places:house_rules"), words(site, "places:setup")
    client = Client()
    client.force_login(make.user(site, SiteRole.DIRECTOR), backend="django.contrib.auth.backends.ModelBackend")
    sheets += plain(client.get(reverse("worksheets:every")).content.decode())
    one = plain(client.get(reverse("worksheets:worksheet", args=["gas_content"])).content.decode())
    keys = [name for name in (*house_rule_definitions(), *worksheets()) if "_" in name]
    assert len(keys) > 30
    assert [key for key in keys if key in rules or key in sheets] == []
    assert "Water capacity, L" in one
    assert "Temperature, °C" in one
    assert "degC" not in one


def test_a_phone_is_told_which_drill_each_cell_is_of(site: Site) -> None:
    for key, name in (("fire", "Fire inside"), ("loss", "Loss of oxygen")):
        services.add(DrillKind(site=site, key=key, name=name, every_days=90), by=make.BY)
    client = Client()
    client.force_login(make.user(site, SiteRole.DIRECTOR), backend="django.contrib.auth.backends.ModelBackend")
    page = client.get(reverse("practice:drills", args=[site.key])).content.decode()
    assert page.count('data-l="Fire inside"') == page.count('data-l="Loss of oxygen"') == site.people.count()


def test_a_bank_out_of_service_holds_the_same_on_the_page_of_gas_and_on_that_of_the_plant() -> None:
    """50 L at 200 bar gauge and 15 degC hold about 10 060 L at 1 atm by the ideal law; nothing of it counts."""
    chamber = make.chamber()
    bank = filled_bank(chamber, 50, 200)
    services.add(
        Defect(site=chamber.site, number=7, bank=bank, what="regulator creeps", effect="stops", found_at=events.now()),
        by=make.BY,
    )
    client = Client()
    client.force_login(make.user(chamber.site, SiteRole.OPERATOR), backend="django.contrib.auth.backends.ModelBackend")
    struck = [
        re.findall(r"<s>(.*?) L</s>", client.get(reverse(name, args=[chamber.site.key])).content.decode())
        for name in ("places:plant", "maintenance:gas")
    ]
    assert struck[0] == struck[1]
    assert 9_000 < int(re.sub(r"\D", "", struck[0][0])) < 12_000
