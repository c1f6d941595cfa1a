"""What is found on the page over many sites."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from facility import services
from facility.fleet.board import LIVE_AT_MOST
from facility.models import Contact, Event
from tests import make
from tests.facility.readiness_db import build as rows
from tests.fleet import build
from tests.fleet.build import PAGE, first_account, many, shown, words

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Chamber

pytestmark = [pytest.mark.django_db, pytest.mark.both]
T = build.T


def test_a_table_is_found_by_whole_words_and_the_longest_comes_first(clock: list[datetime]) -> None:
    organisation = make.organisation()
    for key, table in (
        ("alna", "Table 6"),
        ("bekk", "Table 6A"),
        ("dokka", "table 6, two patients"),
        ("elva", "Table 6"),
    ):
        build.chamber(organisation, table=table, key=key, name=key.capitalize())
    rows.defect(organisation.sites.get(key="alna").equipment.get(), T + timedelta(hours=5))
    rows.defect(organisation.sites.get(key="elva").equipment.get(), T)
    client = first_account()
    found = words(client, "?table=TABLE+6")
    assert found == [("Dokka", "Ready"), ("Alna", "Ready"), ("Elva", "Not ready")]
    assert "until 27 Nov 2026 14:00" in shown(client, "?table=6")  # 15:00 less the 60 min of the run
    assert words(client, "?table=6a") == [("Bekk", "Ready")]
    assert words(client, "?table=6&state=stop") == [("Elva", "Not ready")]


def test_the_call_first_line_stands_above_where_a_table_is_available(chambers: list[Chamber]) -> None:
    services.add(
        Contact(site=chambers[0].site, key="doc", kind="physician", name="Dr Ask", phone="+47 5550 0100"), by=make.BY
    )
    text = shown(first_account(), "?table=6")
    assert "Call first, do not drive." in text
    assert "Call first: Dr Ask +47 5550 0100" in text


def test_a_table_that_nobody_has_is_named_with_those_there_are(chambers: list[Chamber]) -> None:
    text = shown(first_account(), "?table=9")
    assert "No plan has all the words “9”. Plans there are: Table 6." in text


def test_a_state_that_does_not_exist_is_named_with_those_there_are(chambers: list[Chamber]) -> None:
    text = shown(first_account(), "?state=green")
    assert "There is no state “green”. Ask for one of: ready, limits, stop, unknown." in text


def test_a_part_of_a_name_finds_site_or_chamber(chambers: list[Chamber]) -> None:
    assert words(first_account(), "?site=EKK") == [("Bekk", "Ready")]
    assert len(words(first_account(), "?site=chamber+1")) == 3


def test_narrowed_to_few_a_large_organisation_sees_live_answers(clock: list[datetime]) -> None:
    many(LIVE_AT_MOST + 1)
    assert words(first_account(), "?site=site+03") == [("Site 03", "Ready")]


def test_pages_hold_a_hundred_and_a_page_beyond_is_the_last(clock: list[datetime]) -> None:
    place = make.site()
    for number in range(101):
        make.chamber(place, key=f"c-{number:03}")
    make.chamber()
    client = first_account()
    assert (len(words(client)), len(words(client, "?page=2")), len(words(client, "?page=99"))) == (100, 2, 2)


HOSTILE = "<script>alert(1)</script>\"'{{ 86421*97531 }}"


def test_hostile_names_stay_text(clock: list[datetime]) -> None:
    organisation = make.organisation(name=HOSTILE)
    for key in ("alna", "bekk"):
        one = build.chamber(organisation, table=f"Table 6 {HOSTILE}", key=key, name=f"{key} {HOSTILE}")
        services.add(Contact(site=one.site, key="doc", kind="physician", name=HOSTILE, phone=HOSTILE), by=make.BY)
    build.chamber(make.organisation(), key="elva", name="Elva")
    client = first_account()
    for query in ("", "?table=6", f"?site={HOSTILE}", f"?table={HOSTILE}&state={HOSTILE}&page=%00"):
        html = client.get(f"{PAGE}{query}").content.decode()
        assert "<script>alert" not in html
        assert str(86421 * 97531) not in html
    assert client.get("/organisation.json").json()["chambers"][0]["organisation"] == HOSTILE


def test_a_look_stores_nothing_but_the_job(clock: list[datetime]) -> None:
    many(LIVE_AT_MOST + 1)
    client = first_account()
    before = Event.objects.count()
    client.get(PAGE)
    client.get("/organisation.json")
    assert Event.objects.count() == before
    assert client.post(PAGE).status_code == 405
