"""A call-out from the first tap to its end."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.test import Client

from facility import events, services
from facility.models import DutyPeriod, Event, Site, SiteRole
from tests import make
from treatments.calling import calls
from treatments.models import CallOut, Plan

pytestmark = pytest.mark.django_db
OWN = Path(__file__).parent.parent.parent / "data" / "own_facility"


@pytest.fixture
def site() -> Site:
    call_command("import_facility", str(OWN), verbosity=0)
    return Site.objects.get()


@pytest.fixture
def client_in(site: Site) -> Client:
    client = Client()
    user = make.user(site, SiteRole.SUPERVISOR)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def on_duty(site: Site) -> str:
    person = site.people.all()[0]
    now = events.now()
    services.add(
        DutyPeriod(person=person, starts_at=now - timedelta(hours=1), ends_at=now + timedelta(hours=8)), by=make.BY
    )
    return person.name


def test_one_tap_starts_the_clock_and_asks_who_is_on_duty(site: Site, client_in: Client) -> None:
    name = on_duty(site)
    answer = client_in.post(f"/{site.key}/call/begin/")
    call = CallOut.objects.get()
    assert answer.headers["Location"] == f"/{site.key}/call/{call.pk}/"
    assert [one.person.name for one in call.people.all()] == [name]


def test_a_second_tap_leads_to_the_call_that_is_on(site: Site, client_in: Client) -> None:
    client_in.post(f"/{site.key}/call/begin/")
    client_in.post(f"/{site.key}/call/begin/")
    assert CallOut.objects.count() == 1


def test_the_page_lists_what_stands_between_now_and_seal_made_and_whom_to_call(site: Site, client_in: Client) -> None:
    client_in.post(f"/{site.key}/call/begin/")
    text = client_in.get(f"/{site.key}/call/{CallOut.objects.get().pk}/").content.decode()
    assert "Between now and seal made" in text
    assert "Call first" in text
    assert "supervisor and the physician decide" in text


def test_state_comes_first_then_whom_to_call_and_the_table_decided_on_lies_open(site: Site, client_in: Client) -> None:
    """At three in the morning: can it start, what is in the way, whom to ring; common practice, no source."""
    client_in.post(f"/{site.key}/call/begin/")
    call = CallOut.objects.get()
    address = f"/{site.key}/call/{call.pk}/"
    text = client_in.get(address).content.decode()
    plan = Plan.objects.current().filter(chamber__site=site)[0]
    summary = text[text.index("<summary>") : text.index("</summary>")]
    assert plan.name in summary
    assert any(state in summary for state in ("Ready", "Not ready", "Not known"))
    order = [text.index(one) for one in ("<summary>", "Call first", "Who was asked", "The call is over")]
    assert order == sorted(order)
    assert f'id="plan-{plan.key}">' in text
    calls.decide(call, plan, by=make.BY, shown_version=call.row_version)
    assert f'id="plan-{plan.key}" open>' in client_in.get(address).content.decode()


def test_an_answer_is_kept_with_the_time_at_which_the_person_is_expected(site: Site, client_in: Client) -> None:
    on_duty(site)
    client_in.post(f"/{site.key}/call/begin/")
    call = CallOut.objects.get()
    asked = call.people.get()
    client_in.post(f"/{site.key}/call/{call.pk}/answer/", {"person": asked.pk, "said": "coming", "minutes": 20})
    asked.refresh_from_db()
    assert asked.answer == "coming"
    assert asked.expected_at is not None
    assert timedelta(minutes=18) < asked.expected_at - events.now() < timedelta(minutes=21)
    assert Event.objects.latest("seq").action == "answered the call"


def test_a_call_is_over_only_once_somebody_says_how(site: Site, client_in: Client) -> None:
    call = calls.begin(site.chambers.get(), [], by=make.BY)
    sent = {"do": "over", "outcome": "", "shown_version": call.row_version}
    assert client_in.post(f"/{site.key}/call/{call.pk}/", sent).status_code == 422
    sent["outcome"] = "Diver flown out; no run."
    assert client_in.post(f"/{site.key}/call/{call.pk}/", sent).status_code == 302
    call.refresh_from_db()
    with pytest.raises(ValidationError, match="is over"):
        calls.decide(call, None, by=make.BY, shown_version=call.row_version)


def test_an_answer_that_is_none_is_refused(site: Site) -> None:
    call = calls.begin(site.chambers.get(), [site.people.all()[0]], by=make.BY)
    with pytest.raises(ValidationError, match="is no answer"):
        calls.answer(call.people.get(), "perhaps", by=make.BY)
