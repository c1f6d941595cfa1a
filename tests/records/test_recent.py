"""A qualification that lapsed for want of practice is not shown as in date on the pages of people."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client

from facility import events, services
from facility.models import Drill, DrillKind, QualificationHeld, SiteRole
from facility.practice import services as practice
from facility.records.recent import Practices
from tests import make

pytestmark = pytest.mark.django_db


def test_without_practice_it_is_over_and_a_drill_brings_it_back() -> None:
    site = make.site(zone="UTC")
    today = events.now().date()
    person = make.person(site)
    kind = make.qualification_kind(site.organisation, recency_days=30)
    held = services.add(
        QualificationHeld(person=person, kind=kind, issued_on=today - timedelta(days=200),
                          expires_on=today + timedelta(days=400), second_look_by="Bo Test"),
        by=make.BY,
    )  # fmt: skip
    client = Client()
    client.force_login(make.user(site, SiteRole.SUPERVISOR), backend="django.contrib.auth.backends.ModelBackend")
    assert ", by practice" in client.get(f"/{site.key}/keep/qualification/").content.decode()
    assert ", by practice" in client.get(f"/{site.key}/people/").content.decode()
    drill = DrillKind(site=site, key="fire", name="Fire inside", every_days=90)
    services.add(drill, by=make.BY)
    practice.hold(Drill(kind=drill, held_at=events.now() - timedelta(days=2), led_by="Ina Test"), [person], by=make.BY)
    assert Practices([held], site.zone).good_through(held) == today - timedelta(days=2) + timedelta(days=30)
    assert "Overdue" not in client.get(f"/{site.key}/people/").content.decode()


def test_a_kind_that_does_not_lapse_takes_no_query(django_assert_num_queries: object) -> None:
    site = make.site()
    person, kind = make.person(site), make.qualification_kind(site.organisation)
    held = services.add(
        QualificationHeld(person=person, kind=kind, issued_on=make.DAY, second_look_by="Bo Test"), by=make.BY
    )
    with django_assert_num_queries(0):  # type: ignore[operator]  # a fixture of the plugin
        assert Practices([held], site.zone).good_through(held) is None
