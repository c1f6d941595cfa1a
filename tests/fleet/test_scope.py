"""Who sees which chambers on the page over many sites."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from facility import services
from facility.models import Membership, SiteRole
from tests import make
from tests.fleet import build
from tests.fleet.build import PAGE, account, first_account, shown, words

if TYPE_CHECKING:
    from facility.models import Chamber

pytestmark = [pytest.mark.django_db, pytest.mark.both]
T = build.T


def test_a_role_at_two_sites_shows_these_two_and_no_other(chambers: list[Chamber]) -> None:
    client = account(chambers[0].site, chambers[1].site)
    assert words(client) == [("Alna", "Ready"), ("Bekk", "Ready")]
    assert "Dokka" not in shown(client)


def test_a_role_that_was_taken_back_takes_the_site_away(chambers: list[Chamber]) -> None:
    client = account(*(one.site for one in chambers))
    services.retire(Membership.objects.get(site=chambers[2].site), by=make.BY, reason="left")
    assert [site for site, _ in words(client)] == ["Alna", "Bekk"]


def test_one_site_leads_to_its_own_page(chambers: list[Chamber]) -> None:
    answer = account(chambers[0].site, role=SiteRole.DIRECTOR).get(PAGE)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/alna/now/")


def test_an_account_without_a_role_is_led_to_the_page_that_says_so(chambers: list[Chamber]) -> None:
    answer = account().get(PAGE, follow=True)
    assert "no role at a site yet" in answer.content.decode()
    assert "Alna" not in answer.content.decode()


def test_two_sites_of_two_organisations_are_for_a_director_only(chambers: list[Chamber]) -> None:
    other = build.chamber(key="elva", name="Elva")
    assert account(chambers[0].site, other.site).get(PAGE).status_code == 302
    assert len(words(account(chambers[0].site, other.site, role=SiteRole.DIRECTOR))) == 2


@pytest.mark.parametrize("role", SiteRole)
def test_every_role_at_two_sites_sees_the_page(chambers: list[Chamber], role: str) -> None:
    assert len(words(account(chambers[0].site, chambers[1].site, role=role))) == 2


def test_a_retired_site_and_a_retired_chamber_are_gone(chambers: list[Chamber]) -> None:
    client = first_account()
    services.retire(chambers[0].site, by=make.BY, reason="shut")
    services.retire(chambers[1], by=make.BY, reason="sold")
    assert [site for site, _ in words(client)] == ["Dokka"]


def test_a_site_without_a_chamber_is_named_as_not_known_to_those_of_it_alone(chambers: list[Chamber]) -> None:
    bare = make.site(organisation=chambers[0].site.organisation, key="hav", name="Hav")
    said = "No chamber is recorded, and nothing is known, at:"
    page = shown(account(chambers[0].site, chambers[1].site, bare))
    assert said in page
    assert "Hav" in page.split(said)[1].split("</p>")[0]
    assert said not in shown(account(chambers[0].site, chambers[1].site))
