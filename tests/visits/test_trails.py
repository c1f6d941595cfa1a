"""Trails: the checks of a day, a person's deeds against what was in date, what changed since the last pack."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from facility import events, services
from facility.events import Actor
from facility.models import (
    Answer,
    Event,
    MedicalFitness,
    Pack,
    PackState,
    Person,
    QualificationHeld,
    SiteRole,
)
from facility.visits.day import checks_of
from facility.visits.person import trail_of
from facility.visits.since import since_last_pack
from facility.walk import services as walking
from tests import make
from tests.visits.test_findings import client_of

pytestmark = pytest.mark.django_db


def test_the_checks_of_a_day_show_each_step_and_what_nobody_answered() -> None:
    chamber = make.chamber()
    sheet = make.sheet(chamber)
    check, _new = walking.start(sheet, by=make.BY)
    services.add(Answer(check_done=check, step="door", outcome="bad", value="", note="cut"), by=make.BY)
    today = events.now().astimezone(UTC).date()
    days = [checks_of(chamber.site, None, today + timedelta(days=shift)) for shift in (-1, 0, 1)]
    (one,) = [found for day in days for found in day]
    assert [(step.text, [mark for mark, _answer in step.answers]) for step in one.steps][:2] == [
        ("Door seal sound", ["stop"]), ("Oxygen supply", []),
    ]  # fmt: skip
    assert one.signatures == ()


def test_a_check_over_midnight_stands_on_the_day_it_began_by_the_sites_clock() -> None:
    """Oslo is two hours ahead of UTC in summer (tz database): 22:30 UTC is half past midnight of the next day."""
    chamber = make.chamber()
    sheet = make.sheet(chamber)
    at = datetime(2026, 6, 1, 22, 30, tzinfo=UTC)
    version = walking.current_version(sheet)
    walking.add_check(sheet, version, at=at, by=make.BY)
    assert [len(checks_of(chamber.site, None, date(2026, 6, day))) for day in (1, 2, 3)] == [0, 1, 0]


def test_the_day_takes_the_same_queries_however_many_checks_there_are(django_assert_num_queries: Any) -> None:
    chamber = make.chamber()
    sheet = make.sheet(chamber)
    version = walking.current_version(sheet)
    for hours in range(6):
        walking.add_check(sheet, version, at=make.NOON + timedelta(minutes=hours), by=make.BY)
    with django_assert_num_queries(3):
        assert len(checks_of(chamber.site, None, make.DAY)) == 6


def person_with_papers() -> Person:
    """Return a person with an account, a certificate to 31 March 2026 and a medical to 30 June."""
    site = make.site()
    account = make.user(site, SiteRole.OPERATOR)
    person = make.person(site, user=account)
    kind = make.qualification_kind(site.organisation, name="Panel operator")
    services.add(
        QualificationHeld(person=person, kind=kind, issued_on=date(2025, 4, 1), expires_on=date(2026, 3, 31),
                          second_look_by="Bo"), by=make.BY,
    )  # fmt: skip
    services.add(
        MedicalFitness(person=person, examined_on=date(2025, 7, 1), good_until=date(2026, 6, 30), outcome="fit"),
        by=make.BY,
    )
    return person


@pytest.mark.parametrize(
    ("at", "held", "medical"),
    [
        (datetime(2026, 3, 31, 20, 0, tzinfo=UTC), ("Panel operator",), True),
        (datetime(2026, 3, 31, 23, 0, tzinfo=UTC), (), True),  # 01:00 on 1 April in Oslo
        (datetime(2026, 7, 1, 12, 0, tzinfo=UTC), (), False),
        (datetime(2025, 3, 1, 12, 0, tzinfo=UTC), (), False),
    ],
)
def test_each_deed_says_what_was_in_date_on_its_day(
    at: datetime, held: tuple[str, ...], *, medical: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    person = person_with_papers()
    assert person.user is not None
    monkeypatch.setattr(events, "now", lambda: at)
    by = Actor(name=str(person.user), user_id=person.user.pk)
    services.add(Person(site=person.site, key="new-one", name="New One"), by=by)
    (deed,) = trail_of(person).deeds
    assert (deed.in_date, deed.medical, deed.event) == (held, medical, Event.objects.latest("seq").seq)


def test_the_deeds_of_a_namesake_are_not_ones_own() -> None:
    person = person_with_papers()
    assert person.user is not None
    by = Actor(name=str(person.user), user_id=person.user.pk + 1)
    services.add(Person(site=person.site, key="new-one", name="New One"), by=by)
    assert trail_of(person).deeds == ()


def test_work_under_a_name_without_an_account_is_told_as_such_with_what_was_in_date() -> None:
    """A person in a site whose older records came from files: what they did is told by their name, and says so."""
    person = person_with_papers()
    assert person.user is not None
    rule = make.rule(make.equipment(person.site, tag="DG-7"))
    make.work(rule, date(2026, 3, 1), done_by=person.name)
    make.work(rule, date(2026, 3, 2), done_by="Somebody Else")
    (deed,) = trail_of(person).deeds
    assert deed.what.startswith("DG-7: ")
    assert "no account stands behind it" in deed.sub
    assert (deed.on, deed.in_date, deed.medical) == (date(2026, 3, 1), ("Panel operator",), True)
    own = make.work(rule, date(2026, 3, 3), done_by=person.name)
    assert len(trail_of(person).deeds) == 2
    events.record(own, events.What("looked at", site_key=person.site.key), by=Actor("x", user_id=person.user.pk))
    assert len(trail_of(person).deeds) == 1  # told once, as what the account did
    assert trail_of(person, datetime(2026, 3, 5, tzinfo=UTC)).deeds == ()


def test_since_the_last_pack_starts_after_the_size_of_its_log() -> None:
    site = make.site()
    person = make.person(site)
    size = Event.objects.latest("seq").seq
    services.add(
        Pack(site=site, number=1, from_day=date(2026, 1, 1), to_day=date(2026, 1, 31), recipient="Ada", ground="visit",
             state=PackState.BUILT, log_size=size, built_at=make.NOON), by=make.BY,
    )  # fmt: skip
    person.name = "Renamed"
    services.change(person, by=make.BY, reason="wrong name", shown_version=person.row_version)
    found = since_last_pack(site)
    assert found.first == size + 1
    assert {(action, kind) for action, kind, _count in found.counts} == {("added", "pack"), ("corrected", "person")}
    assert [told.event.reason for told in found.told] == ["wrong name"]
    assert found.total == 2


def test_without_a_pack_the_whole_log_is_told() -> None:
    site = make.site()
    make.person(site)
    found = since_last_pack(site)
    assert found.pack is None
    assert found.total == Event.objects.filter(site_id_text=site.key).count()


def test_neighbours_that_tell_the_same_are_one_line_with_their_count_and_numbers() -> None:
    site = make.site()
    items = [make.equipment(site) for _one in range(4)]
    for item in items[:3]:
        services.retire(item, by=make.BY, reason="sold")
    services.retire(items[3], by=make.BY, reason="broken")
    last = Event.objects.latest("seq").seq
    told = since_last_pack(site).told
    assert [(one.count, one.first, one.event.seq) for one in told] == [(1, last, last), (3, last - 3, last - 1)]
    page = client_of(site, SiteRole.INSPECTOR).get(reverse("visits:since", args=[site.key])).content.decode()
    assert "3 times" in page
    assert f"events {last - 3} to {last - 1}" in page


def test_the_pages_answer_an_inspector_and_refuse_a_day_that_is_none() -> None:
    person = person_with_papers()
    client: Client = client_of(person.site, SiteRole.INSPECTOR)
    assert client.get(reverse("visits:person", args=[person.site.key, person.pk])).status_code == 200
    assert client.get(reverse("visits:since", args=[person.site.key])).status_code == 200
    page = reverse("visits:day", args=[person.site.key])
    assert "That is a gap" in client.get(page, {"day": "1 Mar 2026"}).content.decode()
    refused = client.get(page, {"day": "31 Feb 2026"})
    assert refused.status_code == 422
    assert "31 Feb 2026" in refused.content.decode()
