"""Calendars by RFC 5545, read back with a second library (vobject): lasting names, all-day, revocable, nobody's names."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
import vobject
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from facility import events
from facility import services as records
from facility.feeds import services, views
from facility.models import CalendarFeed, Event, FeedSort, Membership, Procedure, ShutDown, SigningKey, SiteRole
from facility.trust import keys
from tests import make
from tests.facility.readiness_db import build

if TYPE_CHECKING:
    from pathlib import Path

    from facility.models import Site, User

pytestmark = [pytest.mark.django_db, pytest.mark.both]
T = build.T
BACKEND = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    cache.clear()
    monkeypatch.setattr(events, "now", lambda: T)


@pytest.fixture
def site() -> Site:
    return make.site(zone="Europe/Oslo", name="Skerrow")


@pytest.fixture
def tender(site: Site) -> User:
    return make.user(site, SiteRole.TENDER)


def address(site: Site, user: User, sort: str = FeedSort.SITE) -> str:
    _row, secret = services.make(site, user, sort, by=make.BY)
    return reverse("feeds:calendar", args=[secret])


def body(path: str) -> bytes:
    answer = Client().get(path)
    assert answer.status_code == 200
    return answer.content


def read(path: str) -> dict[str, Any]:
    """Return the events by UID, as the second library reads them."""
    calendar = vobject.readOne(body(path).decode())
    return {one.uid.value: one for one in calendar.contents.get("vevent", [])}


def due(site: Site, done: date, **fields: Any) -> Any:
    gauge = make.equipment(site, **fields)
    rule = make.rule(gauge, months=12)
    make.work(rule, done)
    return rule


def test_an_act_that_falls_due_is_an_all_day_event_on_its_last_good_day(site: Site, tender: User) -> None:
    """12 months from 1 March 2026: good through 1 March 2027; DTEND is the day after (RFC 5545, 3.6.1)."""
    rule = due(site, date(2026, 3, 1), tag="DG-7")
    (uid, event), *others = read(address(site, tender)).items()
    assert others == []
    assert uid == f"rule-{rule.pk}@{site.key}.deepstead"
    assert (event.dtstart.value, event.dtend.value) == (date(2027, 3, 1), date(2027, 3, 2))
    assert event.summary.value == "Last day: DG-7: calibration"


def test_a_new_date_keeps_the_name_and_raises_the_sequence(
    site: Site, tender: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    rule = due(site, date(2026, 3, 1))
    path = address(site, tender)
    before = read(path)
    monkeypatch.setattr(events, "now", lambda: T + timedelta(hours=1))
    make.work(rule, date(2026, 11, 20))
    after = read(path)
    assert before.keys() == after.keys()
    (old,), (new,) = before.values(), after.values()
    assert new.dtstart.value == date(2027, 11, 20) != old.dtstart.value
    assert int(new.sequence.value) > int(old.sequence.value)
    assert new.last_modified.value > old.last_modified.value


def test_two_boxes_never_give_the_same_name(site: Site, tender: User, settings: Any, tmp_path: Path) -> None:
    """RFC 5545, section 3.8.4.7: a UID is globally unique, also where both boxes call their site the same."""
    due(site, date(2026, 3, 1))
    path, names = address(site, tender), set()
    for box in ("one", "two"):
        settings.DATA_DIR = tmp_path / box
        settings.DATA_DIR.mkdir()
        SigningKey.objects.all().delete()
        keys.ensure()
        names |= set(read(path))
    assert len(names) == 2


def test_asked_again_with_nothing_new_it_is_the_same_to_the_byte(
    site: Site, tender: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    due(site, date(2026, 3, 1))
    path = address(site, tender)
    first = body(path)
    monkeypatch.setattr(events, "now", lambda: T + timedelta(hours=2))
    assert body(path) == first


def test_hostile_and_long_texts_come_back_as_they_were_and_lines_stay_short(site: Site, tender: User) -> None:
    """RFC 5545 section 3.1: no line over 75 octets, CRLF ends, UTF-8; 3.3.11: commas, semicolons, backslashes, lines."""
    odd = "Skjell; gauge, \\n trykkmåler \u2013 圧力計 " + "æøå" * 30 + "\r\nEND:VEVENT\r\nBEGIN:VALARM"
    gauge = make.equipment(site, tag="DG-8")
    make.work(make.rule(gauge, name=odd[:100], months=12), date(2026, 3, 1))
    other = make.rule(gauge, name="x", months=12)
    make.work(other, date(2026, 3, 1))
    type(other).objects.filter(pk=other.pk).update(name=odd[:120])
    raw = body(path := address(site, tender))
    assert all(len(line) <= 75 for line in raw.split(b"\r\n"))
    assert b"\n" not in raw.replace(b"\r\n", b"")
    event = read(path)[f"rule-{other.pk}@{site.key}.deepstead"]
    assert event.summary.value == f"Last day: DG-8: {odd[:120]}".replace("\r\n", "\n")
    assert raw.count(b"BEGIN:VEVENT\r\n") == 2
    assert b"BEGIN:VALARM\r\n" not in raw


@pytest.mark.parametrize(
    ("starts", "ends", "first", "after"),
    [
        # Oslo is one hour ahead of UTC in winter, two in summer (zone database)
        ("2026-12-01T22:30", "2026-12-01T23:00", date(2026, 12, 1), date(2026, 12, 2)),  # ends at midnight: one day
        ("2026-12-01T22:30", "2026-12-01T23:01", date(2026, 12, 1), date(2026, 12, 3)),
        ("2026-12-01T23:00", "2026-12-02T22:59", date(2026, 12, 2), date(2026, 12, 3)),  # one civil day of the site
        ("2027-03-27T23:00", "2027-03-28T22:00", date(2027, 3, 28), date(2027, 3, 29)),  # a day of 23 hours
    ],
)
def test_a_shut_down_stands_on_the_days_of_the_sites_own_clock(
    site: Site, tender: User, starts: str, ends: str, first: date, after: date
) -> None:
    chamber = make.chamber(site, name="Chamber 1")
    span = [datetime.fromisoformat(text).replace(tzinfo=UTC) for text in (starts, ends)]
    why = "Seal of patient Nils"
    records.add(ShutDown(chamber=chamber, starts_at=span[0], ends_at=span[1], why=why), by=make.BY)
    path = address(site, tender, FeedSort.SHUT)
    (event,) = read(path).values()
    assert (event.dtstart.value, event.dtend.value) == (first, after)
    assert event.summary.value == "Planned shut-down: Chamber 1"
    assert "Nils" not in body(path).decode()


def test_a_shut_down_that_was_corrected_keeps_its_name(site: Site, tender: User) -> None:
    chamber = make.chamber(site)
    span = {"starts_at": T + timedelta(days=3), "why": "windows"}
    old = records.add(ShutDown(chamber=chamber, ends_at=T + timedelta(days=4), **span), by=make.BY)
    path = address(site, tender, FeedSort.SHUT)
    before = set(read(path))
    new = ShutDown(chamber=chamber, ends_at=T + timedelta(days=5), **span)
    records.supersede(old, new, by=make.BY, reason="longer")
    assert set(read(path)) == before


def test_my_own_days_are_my_certificates_my_medical_and_what_i_have_to_read(site: Site, tender: User) -> None:
    who, kind = make.person(site, user=tender), make.qualification_kind(site.organisation, name="Inside tender")
    build.held(who, kind, date(2027, 2, 1))
    build.medical(who, good_until=date(2027, 1, 9))
    build.medical(make.person(site), good_until=date(2027, 1, 8))
    terms = {"key": "fire", "in_force_from": build.LONG_AGO, "approved_by": "Ina Test"}
    records.add(Procedure(site=site, title="Fire drill", **terms), by=make.BY)
    path = address(site, tender, FeedSort.MINE)
    found = {one.summary.value: one.dtstart.value for one in read(path).values()}
    assert found["Last day: Inside tender"] == date(2027, 2, 1)
    assert found["Last day: Medical"] == date(2027, 1, 9)
    assert found["To read: Fire drill"] == T.date()
    assert date(2027, 1, 8) not in found.values()
    before = set(read(path))
    build.held(who, kind, date(2029, 2, 1))
    assert set(read(path)) == before


def test_a_medical_that_says_unfit_has_no_last_day(site: Site, tender: User) -> None:
    who = make.person(site, user=tender)
    build.medical(who, good_until=date(2027, 1, 9), outcome="unfit")
    assert read(address(site, tender, FeedSort.MINE)) == {}


def test_an_account_that_is_nobody_of_the_crew_is_told_what_to_do(site: Site, tender: User) -> None:
    client = Client()
    client.force_login(tender, BACKEND)
    answer = client.post(reverse("feeds:calendars", args=[site.key]), {"sort": "mine"})
    assert answer.status_code == 422
    assert "ask who keeps the people to join them" in answer.content.decode()
    assert not CalendarFeed.objects.exists()


def test_the_secret_is_shown_once_and_only_its_digest_is_kept(site: Site, tender: User) -> None:
    client = Client()
    client.force_login(tender, BACKEND)
    page = reverse("feeds:calendars", args=[site.key])
    shown = client.post(page, {"sort": "site"}).content.decode()
    secret = shown.split("/calendar/")[1].split(".ics")[0]
    assert len(secret) >= 43  # 256 bits in base64
    assert secret not in client.get(page).content.decode()
    assert not Event.objects.filter(payload__contains=secret).exists()
    assert secret not in str(CalendarFeed.objects.values())
    assert Client().get(f"/calendar/{secret}.ics").status_code == 200


def test_a_revoked_address_answers_404_and_revoking_needs_a_reason(site: Site, tender: User) -> None:
    path = address(site, tender)
    client = Client()
    client.force_login(tender, BACKEND)
    again = reverse("feeds:revoke", args=[site.key, CalendarFeed.objects.get().pk])
    client.post(again, {"reason": " "})
    assert Client().get(path).status_code == 200
    client.post(again, {"reason": "phone lost"})
    assert Client().get(path).status_code == 404
    assert Event.objects.filter(action="calendar address revoked", reason="phone lost").count() == 1


def test_the_address_of_an_account_that_was_shut_or_lost_its_role_answers_404(site: Site, tender: User) -> None:
    path = address(site, tender)
    tender.is_active = False
    tender.save()
    assert Client().get(path).status_code == 404
    tender.is_active = True
    tender.save()
    assert Client().get(path).status_code == 200
    records.retire(Membership.objects.get(user=tender), by=make.BY, reason="left")
    assert Client().get(path).status_code == 404


def test_another_persons_address_is_revoked_by_the_director_alone(site: Site, tender: User) -> None:
    address(site, tender)
    pk = CalendarFeed.objects.get().pk
    for role, status in ((SiteRole.OPERATOR, 404), (SiteRole.DIRECTOR, 302)):
        client = Client()
        client.force_login(make.user(site, role), BACKEND)
        assert client.post(reverse("feeds:revoke", args=[site.key, pk]), {"reason": "left"}).status_code == status
    assert CalendarFeed.objects.get().retired_at is not None


def test_it_is_kept_by_no_cache_and_asking_changes_nothing_on_record(site: Site, tender: User) -> None:
    path, before = address(site, tender), Event.objects.count()
    answer = Client().get(path)
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert "no-store" in answer["Cache-Control"]
    assert Client().post(path).status_code == 405
    assert Event.objects.count() == before
    assert CalendarFeed.objects.get().read_at == T


def test_one_who_guesses_without_end_is_slowed_and_a_reader_beside_them_is_not(site: Site, tender: User) -> None:
    """Behind a router or a proxy that does not tell who asks, all have one address."""
    path = address(site, tender)
    for _ in range(views.MOST):
        assert Client().get("/calendar/guess.ics").status_code == 404
    answer = Client().get("/calendar/guess.ics")
    assert (answer.status_code, answer["Retry-After"]) == (429, "600")
    assert Client(REMOTE_ADDR="10.0.0.9").get("/calendar/guess.ics").status_code == 404
    assert Client().get(path).status_code == 200


def test_one_right_address_asked_without_end_is_slowed_from_wherever_and_the_others_are_not(
    site: Site, tender: User
) -> None:
    path, other = address(site, tender), address(site, tender)
    for number in range(views.MOST):
        assert Client(REMOTE_ADDR=f"10.0.0.{number}").get(path).status_code == 200
    assert Client(REMOTE_ADDR="10.0.1.1").get(path).status_code == 429
    assert Client(REMOTE_ADDR="10.0.1.1").get(other).status_code == 200


def test_the_queries_do_not_grow_with_what_is_due(site: Site, tender: User) -> None:
    path, counts = address(site, tender), []
    Client().get(path)
    for items in (1, 9):
        for _ in range(items):
            due(site, date(2026, 3, 1))
        with CaptureQueriesContext(connection) as asked:
            body(path)
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 10
