"""The e-mail address that a person gives once: it is a way at every site, and no event holds it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from facility import services
from facility.models import Delivery, Event, Membership, NoticeWay, SiteRole, Way
from facility.notices import digest, ways
from tests import make
from tests.notices import scene
from tests.notices.test_pages import client

if TYPE_CHECKING:
    from facility.models import User
    from tests.notices.conftest import Clock

pytestmark = [pytest.mark.django_db, pytest.mark.both]
ADDRESS = {"do": "address", "address": "ina.test@example.org"}


def in_use(user: User) -> set[tuple[str, str]]:
    """Return the e-mail ways of an account that are in use: site and address."""
    rows = NoticeWay.objects.current().filter(user=user, way=Way.EMAIL)
    return set(rows.values_list("site__key", "address"))


@pytest.mark.usefixtures("clock")
def test_my_e_mail_address_is_a_way_at_every_site_where_i_have_a_role_and_stands_in_no_event() -> None:
    here, there = make.site(key="skerrow"), make.site(key="holm")
    me = make.supervisor(here)
    services.add(Membership(user=me, site=there, role=SiteRole.TENDER), by=make.BY)
    make.site(key="far")
    assert client(me).post("/skerrow/notices/mine/", ADDRESS).status_code == 302
    assert in_use(me) == {("skerrow", ADDRESS["address"]), ("holm", ADDRESS["address"])}
    assert ADDRESS["address"] in client(me).get("/holm/notices/mine/").content.decode()
    assert Event.objects.filter(action="account:e-mail chosen").count() == 1
    assert not Event.objects.filter(payload__contains="ina.test").exists()
    client(me).post("/skerrow/notices/mine/", ADDRESS)
    assert Event.objects.filter(action="account:e-mail chosen").count() == 1


@pytest.mark.usefixtures("clock")
def test_a_new_address_takes_the_place_of_the_old_one_but_not_where_e_mail_was_given_up() -> None:
    here, there = make.site(key="skerrow"), make.site(key="holm")
    me = make.supervisor(here)
    services.add(Membership(user=me, site=there, role=SiteRole.TENDER), by=make.BY)
    client(me).post("/skerrow/notices/mine/", ADDRESS)
    ways.retire(NoticeWay.objects.get(site=there), by=make.BY, reason="not from there")
    other = ways.add(NoticeWay(site=here, user=me, way=Way.EMAIL, address="duty@example.org"), by=make.BY)
    client(me).post("/skerrow/notices/mine/", ADDRESS | {"address": " ina@example.net "})
    assert in_use(me) == {("skerrow", "ina@example.net"), ("skerrow", other.address)}
    client(me).post("/skerrow/notices/mine/", ADDRESS | {"address": ""})
    assert in_use(me) == {("skerrow", other.address)}
    me.refresh_from_db()
    assert me.email == ""


@pytest.mark.usefixtures("clock")
@pytest.mark.parametrize("typed", ["ina", "ina@", "ina test@example.org", "ina@example.org\r\nBcc: all@example.org"])
def test_what_is_no_address_is_refused_beside_it_and_stays_typed(typed: str) -> None:
    me = make.supervisor(make.site(key="skerrow"))
    answer = client(me).post("/skerrow/notices/mine/", ADDRESS | {"address": typed})
    assert answer.status_code == 422
    assert f'value="{typed}' in answer.content.decode()
    assert not NoticeWay.objects.exists()


def test_who_gave_an_address_has_the_digest_there(clock: Clock, settings: Any) -> None:
    settings.EMAIL_HOST = "mail.example.org"
    chamber, _gauge = scene.gauge_chamber()
    me = make.supervisor(chamber.site)
    client(me).post("/skerrow/notices/mine/", ADDRESS)
    digest.make(clock.now)
    assert Delivery.objects.get(notice__user=me).way.address == ADDRESS["address"]
