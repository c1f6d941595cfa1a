"""My page: what of mine ends when, and what I declare of myself."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from facility import events, services
from facility.models import Event, FitDeclared, Person, Procedure, User
from facility.practice import services as practice
from facility.readiness.telling.declaring import until_of
from tests import make
from tests.facility.readiness_db import build
from tests.facility.telling.support import took_part

pytestmark = pytest.mark.django_db
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@pytest.fixture
def user(client: Client, monkeypatch: pytest.MonkeyPatch) -> User:
    found = make.user(make.site(zone="Europe/Oslo"), "tender")
    client.force_login(found)
    monkeypatch.setattr(events, "now", lambda: build.T)
    return found


@pytest.fixture
def ana(user: User) -> Person:
    return make.person(user.memberships.get().site, key="ana", name="Ana", user=user)


def page(client: Client, who: Person) -> str:
    text = client.get(reverse("readiness:me", args=[who.site.key])).content.decode()
    return " ".join(text.split())


def declare(client: Client, who: Person, said: str) -> None:
    client.post(reverse("readiness:declare_fit", args=[who.site.key]), {"fit": said})


def test_what_ends_first_stands_first_and_practice_may_be_what_ends_it(client: Client, ana: Person) -> None:
    kind = make.qualification_kind(ana.site.organisation, key="inside-tender", name="Tender", recency_days=90)
    build.held(ana, kind, date(2028, 1, 1))
    build.medical(ana, good_until=date(2027, 6, 1))
    took_part(ana, build.plan(make.chamber(ana.site), "p"), "tender", datetime(2026, 11, 1, 12, tzinfo=UTC))
    text = page(client, ana)
    # 1 November + 90 days = 30 January 2027, before the medical of June and the certificate of 2028
    assert text.index("30 Jan 2027") < text.index("1 Jun 2027")
    assert "last practised 1 Nov 2026" in text
    assert "1 Jan 2028" not in text


def test_a_certificate_that_was_renewed_alarms_nobody(client: Client, ana: Person) -> None:
    kind = make.qualification_kind(ana.site.organisation, name="First aid")
    build.held(ana, kind, date(2026, 6, 1))
    build.held(ana, kind, date(2027, 6, 1), issued_on=date(2026, 6, 1))
    text = page(client, ana)
    assert "1 Jun 2027" in text
    assert "1 Jun 2026" not in text


def test_my_page_shows_duty_waits_and_what_i_have_not_read(client: Client, ana: Person) -> None:
    build.duty(ana, build.T + DAY, build.T + DAY + 8 * HOUR)
    build.duty(ana, build.T + 20 * DAY, build.T + 21 * DAY)
    build.wait(ana, build.T - HOUR, build.T + 11 * HOUR)
    practice.put_in_force(
        Procedure(site=ana.site, key="fire", title="Fire inside", text="Shout", in_force_from=build.T),
        by=make.BY, reason="first",
    )  # fmt: skip
    text = page(client, ana)
    for said in ("28 Nov 2026 11:00", "until 28 Nov 2026 19:00", "until 27 Nov 2026 22:00", "Fire inside"):
        assert said in text
    assert "17 Dec 2026" not in text


@pytest.mark.parametrize(("said", "fit", "words"), [
    ("yes", True, "Declared fit on 27 Nov 2026 11:00, until 28 Nov 2026 00:00."),
    ("no", False, "Declared not fit on 27 Nov 2026 11:00, until 28 Nov 2026 00:00."),
])  # fmt: skip
def test_i_declare_myself_for_the_rest_of_the_day(
    client: Client, ana: Person, said: str, fit: bool, words: str
) -> None:
    declare(client, ana, said)
    row = FitDeclared.objects.get()
    # 24:00 in Oslo is 23:00 UTC, 13 h from now and so later than the 12 h of the house rule
    assert (row.fit, row.until) == (fit, datetime(2026, 11, 27, 23, tzinfo=UTC))
    assert words in page(client, ana)
    event = Event.objects.get(subject_kind="facility.fitdeclared")
    assert (event.site_id_text, event.action) == (ana.site.key, f"declared {'' if fit else 'not '}fit")


def test_a_declaration_at_night_covers_the_night() -> None:
    late = datetime(2026, 11, 27, 22, 50, tzinfo=UTC)  # 23:50 in Oslo
    assert until_of(late, "Europe/Oslo", 12) == late + 12 * HOUR


def test_an_answer_that_is_neither_is_named_and_nothing_is_stored(client: Client, ana: Person) -> None:
    declare(client, ana, "perhaps")
    assert "“perhaps” is neither" in page(client, ana)
    assert not FitDeclared.objects.exists()


def test_an_account_that_is_nobody_of_the_crew_is_told_so(client: Client, user: User) -> None:
    site = user.memberships.get().site
    other = make.person(site, name="Bo")
    declare(client, other, "no")
    text = page(client, other)
    assert "not joined to a person" in text
    assert not FitDeclared.objects.exists()


def test_nobody_declares_for_another(client: Client, ana: Person) -> None:
    other = make.person(ana.site, name="Bo")
    declare(client, other, "no")
    assert FitDeclared.objects.get().person == ana


def test_a_certificate_waiting_for_a_second_look_says_that_it_does_not_count(client: Client, ana: Person) -> None:
    row = build.held(ana, make.qualification_kind(ana.site.organisation, name="Tender"), second_look_by="")
    assert "it does not count yet" in page(client, ana)
    services.retire(row, by=make.BY, reason="wrong paper")
    assert "it does not count yet" not in page(client, ana)
