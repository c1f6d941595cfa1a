"""What the page over many sites may show, and what it costs."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest

from facility import services
from facility.fleet import refreshing
from facility.fleet.board import LIVE_AT_MOST
from facility.models import Job, Membership, SiteRole
from tests import make
from tests.facility.readiness_db import build as rows
from tests.fleet import build
from tests.fleet.build import PAGE, first_account, many, shown, signed_in, words

if TYPE_CHECKING:
    from datetime import datetime

    from facility.models import Chamber

pytestmark = [pytest.mark.django_db, pytest.mark.both]
T = build.T


def test_a_small_organisation_always_sees_live_answers(chambers: list[Chamber]) -> None:
    client = first_account()
    assert {word for _, word in words(client)} == {"Ready"}
    refreshing.refresh()
    rows.defect(chambers[1].site.equipment.get(), T)
    assert dict(words(client)) == {"Alna": "Ready", "Bekk": "Not ready", "Dokka": "Ready"}
    assert not Job.objects.exists()


def test_more_old_answers_than_a_page_reckons_are_not_known_and_asked_for_at_once(clock: list[datetime]) -> None:
    many(LIVE_AT_MOST + 1)
    client = first_account()
    assert {word for _, word in words(client)} == {"Not known"}
    words(client)
    assert Job.objects.filter(kind="refresh_fleet").count() == 1
    assert "Not reckoned yet." in shown(client)
    refreshing.refresh()
    assert {word for _, word in words(client)} == {"Ready"}


def test_a_page_asks_again_soon_while_answers_are_reckoned_for_it(clock: list[datetime]) -> None:
    many(LIVE_AT_MOST + 1)
    client = first_account()
    assert 'data-refresh="10"' in client.get(PAGE).content.decode()
    refreshing.refresh()
    assert 'data-refresh="60"' in client.get(PAGE).content.decode()


def test_an_old_green_word_is_never_shown_but_as_what_was_last_known(clock: list[datetime]) -> None:
    many(LIVE_AT_MOST + 1)
    refreshing.refresh()
    client = first_account()
    assert {word for _, word in words(client)} == {"Ready"}
    clock[0] = T + timedelta(minutes=15)
    assert {word for _, word in words(client)} == {"Not known"}
    assert "Last known: Ready, 27 Nov 2026 10:00. That is too long ago." in shown(client)
    assert words(client, "?state=ready") == []


def test_a_change_at_a_site_takes_its_word_away_at_once(clock: list[datetime]) -> None:
    chambers = many(LIVE_AT_MOST + 1)
    refreshing.refresh()
    for one in chambers:
        rows.defect(one.site.equipment.get(), T)
    client = first_account()
    assert {word for _, word in words(client)} == {"Not known"}
    assert "Last known: Ready, 27 Nov 2026 10:00. Something was recorded since." in shown(client)


def test_with_the_table_looked_for_nothing_old_is_available_either(clock: list[datetime]) -> None:
    chambers = many(LIVE_AT_MOST + 1)
    refreshing.refresh()
    for one in chambers:
        rows.defect(one.site.equipment.get(), T)
    assert {word for _, word in words(first_account(), "?table=6")} == {"Not known"}


def test_the_browser_is_told_when_a_word_ends(chambers: list[Chamber]) -> None:
    refreshing.refresh()
    html = first_account().get(PAGE).content.decode()
    assert html.count('data-ends="2026-11-27T10:15+00:00"') == 3


def test_a_clock_behind_the_records_is_said(chambers: list[Chamber], clock: list[datetime]) -> None:
    clock[0] = T - timedelta(hours=2)
    assert "The clock is not trusted" in first_account().get(PAGE).content.decode()


def test_each_row_says_what_stands_in_the_way_and_what_lapses(chambers: list[Chamber]) -> None:
    rows.defect(chambers[0].site.equipment.get(), T)
    rows.run(chambers[1].plans.get(), T - timedelta(hours=1), T + timedelta(hours=1))
    text = shown(first_account())
    assert "0 of 1 table can start." in text
    assert "In the way: Table 6: Depth gauge." in text
    assert "In the way: Table 6: Chamber free." in text
    assert "Run 1 is under way." in text
    assert "last good day 1 Nov 2027." in text


def test_counts_stand_on_top_and_no_score(chambers: list[Chamber]) -> None:
    rows.defect(chambers[0].site.equipment.get(), T)
    text = shown(first_account())
    assert re.search(r"2 Ready 0 Ready with limits 1 Not ready 0 Not known", text.replace("  ", " "))
    assert "%" not in text


@pytest.mark.parametrize("query", ["", "?table=6", "?site=s", "?state=ready&page=2"])
@pytest.mark.parametrize("state", ["kept", "few old", "many old"])
def test_the_page_takes_at_most_twelve_queries_in_every_state(
    clock: list[datetime], query: str, state: str, django_assert_max_num_queries: Any
) -> None:
    chambers = many(LIVE_AT_MOST + 3)
    second = make.chamber(chambers[0].site, key="chamber-2")  # a site with two asks whose things they are
    refreshing.refresh()
    for one in chambers[: {"kept": 0, "few old": 3, "many old": 8}[state]]:
        make.equipment(one.site)
    person = make.user()
    for one in chambers:
        services.add(Membership(user=person, site=one.site, role=SiteRole.TENDER), by=make.BY)
    if state == "kept":
        refreshing.refresh()
    client = signed_in(person)
    with django_assert_max_num_queries(12):
        answer = client.get(f"{PAGE}{query}")
    assert answer.status_code == 200
    assert second.site.name in answer.content.decode() or query.endswith("page=2") or query == "?table=6"
