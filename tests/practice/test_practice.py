"""Drills that count, and procedures that somebody has read."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from facility import events, services
from facility.compute.recency import practised
from facility.models import Drill, DrillKind, Event, Procedure, ProcedureRead, Site, SiteRole, User
from facility.practice import services as practice
from facility.readiness.telling.recency import last_practised
from tests import make


def client_of(user: User) -> Client:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def kind_of(site: Site, **fields: object) -> DrillKind:
    return services.add(
        DrillKind(**{"site": site, "key": "fire", "name": "Fire inside", "every_days": 90} | fields), by=make.BY
    )


def drill_of(kind: DrillKind, **fields: object) -> Drill:
    return Drill(**{"kind": kind, "held_at": events.now() - timedelta(days=10), "led_by": "Ina Test"} | fields)


@given(st.lists(st.dates(date(2020, 1, 1), date(2026, 1, 1)), min_size=1), st.integers(1, 400))
def test_one_more_drill_never_shortens_what_counts(days: list[date], every: int) -> None:
    fewer = practised(days[1:], every).good_through or date.min
    now = practised(days, every).good_through
    assert now is not None
    assert now >= fewer


@pytest.mark.django_db
def test_a_drill_counts_for_those_who_took_part_and_for_nobody_else() -> None:
    site = make.site()
    inside, outside = make.person(site), make.person(site)
    practice.hold(drill_of(kind_of(site)), [inside], by=make.BY)
    _kinds, rows = practice.matrix(site)
    state = {row.person: row.cells[0] for row in rows}
    assert state[inside].in_date(events.now().date())
    assert state[outside].last_on is None
    assert not state[outside].in_date(events.now().date())


@pytest.mark.django_db
def test_a_drill_that_did_not_reach_its_goal_needs_a_word_and_does_not_count() -> None:
    site = make.site()
    person = make.person(site)
    kind = kind_of(site)
    with pytest.raises(ValidationError, match="say what went wrong"):
        practice.hold(drill_of(kind, reached=False), [person], by=make.BY)
    practice.hold(drill_of(kind, reached=False, went_wrong="hand line shut"), [person], by=make.BY)
    assert practice.matrix(site)[1][0].cells[0].last_on is None


@pytest.mark.django_db
@pytest.mark.parametrize(("fields", "people", "words"), [({"held_at": events.now() + timedelta(days=1)}, 1, "after now"), ({}, 0, "took part")])  # fmt: skip
def test_what_a_drill_lacks_is_named(fields: dict[str, object], people: int, words: str) -> None:
    site = make.site()
    present = [make.person(site) for _number in range(people)]
    with pytest.raises(ValidationError, match=words):
        practice.hold(drill_of(kind_of(site), **fields), present, by=make.BY)


@pytest.mark.django_db
def test_a_new_version_is_to_be_read_anew_and_the_old_one_stays_readable() -> None:
    site = make.site()
    user = make.user(site, SiteRole.TENDER)
    person = make.person(site, user=user)
    first = practice.put_in_force(
        Procedure(site=site, key="fire", title="Fire inside", text="Shout", in_force_from=events.now()),
        by=make.BY, reason="first",
    )  # fmt: skip
    client = client_of(user)
    client.post(f"/{site.key}/procedures/{first.pk}/read/")
    assert practice.unread_by(person) == []
    second = practice.put_in_force(
        Procedure(site=site, key="fire", title="Fire inside", text="Shout\nDeluge", in_force_from=events.now()),
        by=make.BY, reason="deluge first",
    )  # fmt: skip
    assert second.version == 2
    assert practice.unread_by(person) == [second]
    assert client.get(f"/{site.key}/procedures/{first.pk}/").status_code == 200
    first.refresh_from_db()
    with pytest.raises(ValidationError, match="no longer in force"):
        practice.mark_read(first, person, by=make.BY)


@pytest.mark.django_db
def test_an_account_that_is_nobody_of_the_crew_marks_nothing_as_read() -> None:
    site = make.site()
    row = practice.put_in_force(
        Procedure(site=site, key="fire", title="Fire inside", text="Shout", in_force_from=events.now()),
        by=make.BY, reason="first",
    )  # fmt: skip
    client_of(make.user(site, SiteRole.INSPECTOR)).post(f"/{site.key}/procedures/{row.pk}/read/")
    assert not ProcedureRead.objects.exists()


@pytest.mark.django_db
def test_a_procedure_without_steps_and_without_paper_is_refused() -> None:
    site = make.site()
    client = client_of(make.user(site, SiteRole.DIRECTOR))
    sent = {"key": "fire", "title": "Fire inside", "text": "", "in_force_from": "24 Nov 2026 10:00", "why": ""}
    answer = client.post(f"/{site.key}/procedures/write/", sent)
    assert answer.status_code == 422
    assert "attach the paper" in answer.content.decode()
    assert client.post(f"/{site.key}/procedures/write/", sent | {"text": "Shout"}).status_code == 302


@pytest.mark.django_db
def test_a_drill_is_recorded_on_its_page() -> None:
    site = make.site()
    person, kind = make.person(site), kind_of(site)
    client = client_of(make.user(site, SiteRole.SUPERVISOR))
    sent = {"kind": kind.pk, "held_at": "24 Nov 2026 10:00", "people": [person.pk], "reached": "on", "led_by": "Ina"}
    assert client.post(f"/{site.key}/drills/hold/", sent).status_code == 302
    assert Event.objects.filter(action="took part in drill").count() == 1
    assert "24 Nov 2026" in client.get(f"/{site.key}/drills/").content.decode()


@pytest.mark.django_db
def test_a_drill_is_recorded_with_the_role_each_had_and_a_role_for_nobody_is_refused() -> None:
    site = make.site()
    inside, panel = make.person(site), make.person(site)
    kind = kind_of(site)
    client = client_of(make.user(site, SiteRole.SUPERVISOR))
    held = (events.now() - timedelta(days=1)).isoformat(timespec="minutes")
    sent: dict[str, object] = {
        "kind": kind.pk,
        "held_at": held,
        "led_by": "Ina Test",
        "reached": "on",
        "people": [inside.pk],
    }
    page = f"/{site.key}/drills/hold/"
    refused = client.post(page, sent | {f"role_{panel.pk}": "panel"})
    assert refused.status_code == 422
    assert "not ticked above" in refused.content.decode()
    client.post(page, sent | {"people": [inside.pk, panel.pk], f"role_{inside.pk}": "tender"})
    roles = Drill.objects.get().parts.values_list("person", "role")
    assert dict(roles) == {inside.pk: "tender", panel.pk: ""}


@pytest.mark.django_db
def test_a_drill_in_one_role_is_no_practice_for_another() -> None:
    """Common practice, no source: a drill as tender does not keep a panel operator's hand in."""
    site = make.site()
    person = make.person(site)
    practice.hold(drill_of(kind_of(site)), [person], by=make.BY, roles={person.pk: "tender"})
    at = f"{Drill.objects.get().held_at:%Y-%m-%dT%H:%MZ}"
    assert last_practised("inside-tender", [], [["tender", at]], site.zone) is not None
    assert last_practised("panel-operator", [], [["tender", at]], site.zone) is None
    assert last_practised("panel-operator", [], [["", at]], site.zone) is not None
