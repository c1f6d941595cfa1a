"""A hand-over: prepared from the record, received by another person who says it back."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.test import Client

from facility import events
from facility.events import Actor
from facility.models import Event, HandOver, Site, SiteRole, User
from facility.readiness.services import evaluate_chamber
from facility.readiness.shift import services
from facility.readiness.shift.services import Said
from maintenance.models import Defect
from maintenance.services import raise_defect
from tests import make

pytestmark = pytest.mark.django_db
OWN = Path(__file__).parent.parent.parent / "data" / "own_facility"


@pytest.fixture
def site() -> Site:
    call_command("import_facility", str(OWN), verbosity=0)
    return Site.objects.get()


def client_of(user: User) -> Client:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_it_tells_state_open_things_and_what_changed(site: Site) -> None:
    item = site.equipment.all()[0]
    raise_defect(
        Defect(site=site, equipment=item, what="dial cracked", effect="stops", found_at=events.now()), by=make.BY
    )
    told = services.prepare(site, events.now())
    answer = evaluate_chamber(site.chambers.get(), events.now())
    for plan, found in answer.evaluations.items():
        assert any(answer.names.plans[plan].name in line and str(found.state) in line for line in told["state"])
    assert any("dial cracked" in line for line in told["open"])
    assert any("defect raised" in line for line in told["changed"])


def test_the_giver_cannot_receive_it_and_silence_is_no_receipt(site: Site) -> None:
    row = services.give(site, Said("delivery at noon", "no delivery: ring the supplier"), by=Actor("Ina", user_id=5))
    with pytest.raises(ValidationError, match="gave it yourself"):
        services.receive(row, "all clear", by=Actor("Ina", user_id=5), shown_version=row.row_version)
    with pytest.raises(ValidationError, match="own words"):
        services.receive(row, "  ", by=Actor("Bo", user_id=6), shown_version=row.row_version)
    services.receive(row, "delivery at noon, else ring", by=Actor("Bo", user_id=6), shown_version=row.row_version)
    with pytest.raises(ValidationError, match="received it already"):
        services.receive(row, "again", by=Actor("Cy", user_id=7), shown_version=row.row_version)


def test_a_second_one_waits_until_the_first_is_received(site: Site) -> None:
    services.give(site, Said("", ""), by=make.BY)
    with pytest.raises(ValidationError, match="open already"):
        services.give(site, Said("", ""), by=make.BY)


def test_what_was_recorded_before_the_last_receipt_is_not_told_again(site: Site) -> None:
    row = services.give(site, Said("", ""), by=Actor("Ina", user_id=5))
    services.receive(row, "understood", by=Actor("Bo", user_id=6), shown_version=row.row_version)
    assert services.prepare(site, events.now())["changed"] == []


def test_on_the_pages_one_gives_and_another_receives_with_the_password(site: Site) -> None:
    giver, taker = make.user(site, SiteRole.OPERATOR), make.user(site, SiteRole.SUPERVISOR)
    answer = client_of(giver).post(f"/{site.key}/hand-over/give/", {"expect": "storm tonight", "if_then": ""})
    row = HandOver.objects.get()
    assert answer.headers["Location"] == f"/{site.key}/hand-over/{row.pk}/"
    page = client_of(taker).get(f"/{site.key}/hand-over/{row.pk}/")
    assert "storm tonight" in page.content.decode()
    sent = {"read_back": "storm, generator ready", "password": "wrong", "shown_version": row.row_version}
    assert client_of(taker).post(f"/{site.key}/hand-over/{row.pk}/", sent).status_code == 422
    sent["password"] = make.PASSWORD
    assert client_of(taker).post(f"/{site.key}/hand-over/{row.pk}/", sent).status_code == 302
    assert Event.objects.latest("seq").action == "hand-over received"
