"""Waivers: bounded, named, countersigned, and never hiding the finding."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.test import Client

from facility import events, house, services
from facility.models import Event, Site, SiteRole, User
from facility.readiness.services import evaluate_chamber
from maintenance.models import Defect
from maintenance.services import raise_defect
from tests import make
from treatments.calling import waivers
from treatments.calling.waivers import Grant
from treatments.models import Need, Waiver

pytestmark = pytest.mark.django_db
OWN = Path(__file__).parent.parent.parent / "data" / "own_facility"
BACKEND = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture
def site() -> Site:
    call_command("import_facility", str(OWN), verbosity=0)
    return Site.objects.get()


def client_of(user: User) -> Client:
    client = Client()
    client.force_login(user, backend=BACKEND)
    return client


def need_of(site: Site) -> Need:
    return Need.objects.filter(chamber=site.chambers.get(), waivable=True, members__equipment__isnull=False)[0]


def waiver_of(site: Site, **fields: Any) -> Waiver:
    now = events.now()
    return Waiver(
        **{
            "chamber": site.chambers.get(), "need": need_of(site), "starts_at": now,
            "ends_at": now + timedelta(hours=12), "why": "part on order", "counter_measure": "read by hand",
        } | fields
    )  # fmt: skip


def test_a_waiver_lets_the_plan_run_with_limits_and_leaves_the_finding(site: Site) -> None:
    need = need_of(site)
    for member in need.members.all():
        if member.equipment is not None:
            raise_defect(
                Defect(site=site, equipment=member.equipment, what="cracked", effect="stops", found_at=events.now()),
                by=make.BY,
            )  # fmt: skip
    chamber = site.chambers.get()
    before = evaluate_chamber(chamber, events.now() + timedelta(minutes=2))
    plan = next(plan for plan, found in before.evaluations.items() if need.key in found.findings)
    assert before.evaluations[plan].findings[need.key].state == "stops"
    waivers.grant(waiver_of(site, accepts=0), Grant(None, False, ""), by=make.BY)
    after = evaluate_chamber(chamber, events.now() + timedelta(minutes=2)).evaluations[plan].findings[need.key]
    assert (after.state, after.without_waiver, after.waived) == ("limits", "stops", True)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"why": " "}, "Say why"),
        ({"counter_measure": ""}, "done instead"),
        ({"spoken": True}, "Name who granted"),
        ({"ends_at": events.now() - timedelta(hours=1)}, "end after it begins"),
        ({"ends_at": events.now() + timedelta(days=40)}, "31 days at most"),
    ],
)
def test_what_a_waiver_lacks_is_named(site: Site, fields: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        waivers.grant(waiver_of(site, **fields), Grant(None, bool(fields.get("spoken")), ""), by=make.BY)


def test_what_the_house_does_not_let_be_waived_is_refused_and_nobody_is_kept_from_acting(site: Site) -> None:
    need = need_of(site)
    wanted = waiver_of(site, need=need)
    need.waivable = False
    services.change(need, by=make.BY, reason="never without", shown_version=need.row_version)
    with pytest.raises(ValidationError, match="outside the house rules"):
        waivers.grant(wanted, Grant(None, False, ""), by=make.BY)


def test_one_granted_by_telephone_is_to_be_countersigned_within_the_house_rule(site: Site) -> None:
    row = waivers.grant(waiver_of(site, spoken=True, granted_by="Dr Ask"), Grant(7, True, ""), by=make.BY)
    assert row.countersign_by is not None
    hours = int(house.values(site)["countersign_hours"])
    assert abs(row.countersign_by - events.now() - timedelta(hours=hours)) < timedelta(minutes=1)
    assert waivers.lacks_countersign(row)


def test_nobody_countersigns_what_they_recorded_themselves(site: Site) -> None:
    director = make.user(site, SiteRole.DIRECTOR)
    row = waivers.grant(waiver_of(site, spoken=True, granted_by="Dr Ask"), Grant(director.pk, True, ""), by=make.BY)
    with pytest.raises(ValidationError, match="recorded it yourself"):
        waivers.countersign(row, user_id=director.pk, by=make.BY, shown_version=row.row_version)


def test_the_register_names_an_overdue_countersign_first(site: Site) -> None:
    row = waivers.grant(waiver_of(site, spoken=True, granted_by="Dr Ask"), Grant(None, True, ""), by=make.BY)
    Waiver.objects.filter(pk=row.pk).update(countersign_by=events.now() - timedelta(hours=1))
    text = client_of(make.user(site, SiteRole.INSPECTOR)).get(f"/{site.key}/waivers/").content.decode()
    assert "countersign overdue since" in text


def test_a_supervisor_records_a_spoken_one_and_a_physician_countersigns(site: Site) -> None:
    supervisor, physician = make.user(site, SiteRole.SUPERVISOR), make.user(site, SiteRole.PHYSICIAN)
    need = need_of(site)
    until = (events.now() + timedelta(hours=6)).strftime("%-d %b %Y %H:%M")
    sent = {"need": need.pk, "accepts": 0, "why": "gauge at the workshop", "counter_measure": "second gauge read twice",
            "ends_at": until, "granted_by": "Dr Ask", "password": make.PASSWORD}  # fmt: skip
    first = client_of(supervisor)
    assert first.get(f"/{site.key}/waivers/grant/").status_code == 403
    assert first.post(f"/{site.key}/waivers/record/", sent | {"password": "wrong"}).status_code == 422
    assert first.post(f"/{site.key}/waivers/record/", sent).status_code == 302
    row = Waiver.objects.get()
    assert (row.spoken, row.granted_by, row.granted_user) == (True, "Dr Ask", supervisor.pk)
    second = client_of(physician)
    assert second.post(f"/{site.key}/waivers/{row.pk}/countersign/", {"password": make.PASSWORD}).status_code == 302
    row.refresh_from_db()
    assert row.countersigned_by == str(physician)
    assert Event.objects.latest("seq").action == "waiver countersigned"


def test_a_second_waiver_of_one_need_says_that_there_was_one(site: Site) -> None:
    waivers.grant(waiver_of(site), Grant(None, False, ""), by=make.BY)
    client = client_of(make.user(site, SiteRole.DIRECTOR))
    text = client.get(f"/{site.key}/waivers/grant/", {"need": need_of(site).key}).content.decode()
    assert "waived 1 time within the last year" in text


def test_an_ended_waiver_no_longer_counts_and_stays_in_the_register(site: Site) -> None:
    row = waivers.grant(waiver_of(site), Grant(None, False, ""), by=make.BY)
    client = client_of(make.user(site, SiteRole.SUPERVISOR))
    assert client.post(f"/{site.key}/waivers/{row.pk}/", {"reason": ""}).status_code == 422
    assert client.post(f"/{site.key}/waivers/{row.pk}/", {"reason": "gauge is back"}).status_code == 302
    row.refresh_from_db()
    assert not waivers.in_force(row, events.now())
    assert "part on order" in client.get(f"/{site.key}/waivers/").content.decode()
