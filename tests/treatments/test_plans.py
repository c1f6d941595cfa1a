"""The pages of plans and needs: new versions, members, refusals."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from facility.models import Chamber, Event
from tests import make
from treatments.models import Need, Plan
from treatments.services import Members, add_need

pytestmark = pytest.mark.django_db


def signed_in(user: Any) -> Client:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def need_of(chamber: Chamber, key: str = "depth") -> Need:
    item = make.equipment(chamber.site)
    return add_need(Need(chamber=chamber, key=key, name=f"Need {key}"), Members(equipment=(item.pk,)), by=make.BY)


def typed_plan(chamber: Chamber, **more: Any) -> dict[str, Any]:
    """Return what a person types for a plan with one extension, two roles and oxygen."""
    kind = make.qualification_kind(chamber.site.organisation)
    return {
        "chamber": chamber.pk, "key": "table-6", "name": "Table 6", "party": "1 patient, 1 tender", "place": "1",
        "table_min": "288", "margin_min": "30", "wait_min": "720", "crew_waivable": "on", "needs": [], "source": "",
        "approved_by": "Dr Vale", "in_force_from": "1 Mar 2026 08:00", "reason": "first", "O2_demand": "6000", "O2_reserve": "1000",
        "AIR_demand": "", "AIR_reserve": "",
        "extension-TOTAL_FORMS": "2", "extension-INITIAL_FORMS": "0", "extension-0-minutes": "25", "extension-0-allowed": "2",
        "extension-1-minutes": "", "extension-1-allowed": "",
        "role-TOTAL_FORMS": "3", "role-INITIAL_FORMS": "0", "role-0-role": "supervisor", "role-0-count": "1",
        "role-1-role": "inside tender", "role-1-count": "1", "role-1-qualifications": [kind.key], "role-1-medical": "on",
        "role-1-start": "0", "role-1-end": "150", "role-2-role": "", "role-2-count": "",
    } | more  # fmt: skip


@pytest.fixture
def chamber() -> Chamber:
    return make.chamber()


@pytest.fixture
def director(chamber: Chamber) -> Client:
    return signed_in(make.user(chamber.site, "director"))


def new_plan(chamber: Chamber, client: Client, **more: Any) -> Any:
    return client.post(reverse("treatments:new_plan", args=[chamber.site.key]), typed_plan(chamber, **more))


def test_a_plan_is_put_in_force_in_its_one_shape(chamber: Chamber, director: Client) -> None:
    need = need_of(chamber)
    before = Event.objects.count()
    answer = new_plan(chamber, director, needs=[need.pk])
    assert answer.status_code == 302, answer.context["form"].errors
    plan = Plan.objects.get()
    assert plan.extensions == [{"minutes": 25, "allowed": 2}]
    assert plan.gas == {"O2": {"demand": 6000, "reserve": 1000}}
    assert [(role["role"], role["medical"], role["to"]) for role in plan.roles] == [
        ("supervisor", False, None),
        ("inside tender", True, 150),
    ]
    assert Event.objects.count() == before + 2, "the kind of qualification, and one event for the plan"
    assert json.loads(Event.objects.latest("seq").payload)["after"]["needs"] == need.key
    text = director.get(answer.headers["Location"]).content.decode()
    assert "368 min, 6 h 08" in text  # hand sum: 288 + 2 x 25 + 30 = 368 = 6 h 08
    assert "7\u202f000 L" in text


def test_a_new_version_supersedes_the_old_which_stays_readable(chamber: Chamber, director: Client) -> None:
    new_plan(chamber, director)
    old = Plan.objects.get()
    address = reverse("treatments:change_plan", args=[chamber.site.key, old.pk])
    before = Event.objects.count()
    answer = director.post(address, typed_plan(chamber, margin_min="45", reason="longer ferry"))
    assert answer.status_code == 302, answer.context["form"].errors
    new = Plan.objects.get(retired_at=None)
    assert (new.key, new.version, new.margin_min, new.supersedes) == ("table-6", 2, 45, old)
    told = json.loads(Event.objects.latest("seq").payload)
    assert (told["before"]["margin_min"], told["after"]["margin_min"], told["reason"]) == ("30", "45", "longer ferry")
    assert Event.objects.count() == before + 2
    assert (
        "No longer in force"
        in director.get(reverse("treatments:plan", args=[chamber.site.key, old.pk])).content.decode()
    )
    again = director.post(address, typed_plan(chamber, margin_min="60"))
    assert again.status_code == 409, "somebody put another version in force meanwhile"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"role-1-role": ""}, "person without a role"),
        ({"role-1-qualifications": ["deep-diver"]}, "not one of the available choices"),
        ({"role-1-role": "supervisor"}, "given twice"),
        ({"role-0-role": "", "role-0-count": "", "role-1-role": "", "role-1-count": "", "role-1-qualifications": [],
          "role-1-medical": "", "role-1-start": "", "role-1-end": ""}, "at least one role"),
        ({"role-1-start": "200"}, "must not come before"),
        ({"extension-0-allowed": ""}, "extension 1, allowed"),
        ({"O2_demand": "6 000"}, "thousand separator"),
        ({"O2_demand": "1.5"}, "decimal"),
        ({"table_min": "0"}, "greater than or equal to 1"),
        ({"key": "crew"}, "kept for readiness"),
        ({"approved_by": ""}, "required"),
        ({"reason": " "}, "required"),
        ({"in_force_from": "01/03/2026 08:00"}, "two readings"),
    ],
)  # fmt: skip
def test_a_bad_plan_is_refused_and_what_was_typed_stays(
    chamber: Chamber, director: Client, more: dict[str, Any], said: str
) -> None:
    answer = new_plan(chamber, director, **more)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert said in text
    assert 'value="Table 6"' in text
    assert not Plan.objects.exists()


def test_more_empty_rows_come_without_a_script_and_nothing_typed_is_lost(chamber: Chamber, director: Client) -> None:
    answer = new_plan(chamber, director, more="1")
    assert answer.status_code == 200
    assert len(answer.context["roles"].forms) == 5
    assert 'value="inside tender"' in answer.content.decode()
    assert not Plan.objects.exists()


def test_a_need_of_another_chamber_is_refused(chamber: Chamber, director: Client) -> None:
    other = need_of(make.chamber(chamber.site), "fire")
    assert new_plan(chamber, director, needs=[other.pk]).status_code == 422
    stranger = need_of(make.chamber(), "air")
    assert new_plan(chamber, director, needs=[stranger.pk]).status_code == 422
    assert not Plan.objects.exists()


def typed_need(chamber: Chamber, **more: Any) -> dict[str, Any]:
    return {"chamber": chamber.pk, "key": "il-depth", "name": "Inner-lock depth", "k": "1", "from_min": "0", "to_min": "",
            "effect": "stops", "waivable": "on", "gas": "", "source": "", "lift": ""} | more  # fmt: skip


def test_a_need_takes_members_and_gives_them_up_by_events(chamber: Chamber, director: Client) -> None:
    first, second = make.equipment(chamber.site), make.equipment(chamber.site)
    address = reverse("treatments:add_need", args=[chamber.site.key])
    assert director.post(address, typed_need(chamber, equipment=[first.pk, second.pk])).status_code == 302
    need = Need.objects.get()
    change = reverse("treatments:change_need", args=[chamber.site.key, need.pk])
    third = make.equipment(chamber.site)
    typed = typed_need(chamber, equipment=[second.pk, third.pk], reason="gauge moved", shown_version="1")
    assert director.post(change, typed).status_code == 302
    current = need.members.filter(retired_at=None).values_list("equipment_id", flat=True)
    assert set(current) == {second.pk, third.pk}
    assert set(Event.objects.filter(reason="gauge moved").values_list("action", flat=True)) == {
        "corrected", "member taken off", "member added",
    }  # fmt: skip
    assert director.post(change, typed).status_code == 409


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"k": "2"}, "asks for 2 but has 1"),
        ({"k": "0"}, "greater than or equal to 1"),
        ({"gas": "O2"}, "banks only"),
        ({"from_min": "90", "to_min": "30"}, "before it begins"),
        ({"key": "chamber"}, "kept for readiness"),
    ],
)
def test_a_bad_need_is_refused(chamber: Chamber, director: Client, more: dict[str, Any], said: str) -> None:
    typed = typed_need(chamber, equipment=[make.equipment(chamber.site).pk]) | more
    answer = director.post(reverse("treatments:add_need", args=[chamber.site.key]), typed)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not Need.objects.exists()


def test_banks_need_a_gas_and_members_are_of_this_site(chamber: Chamber, director: Client) -> None:
    address = reverse("treatments:add_need", args=[chamber.site.key])
    bank = make.bank(chamber.site)
    assert "which gas" in director.post(address, typed_need(chamber, banks=[bank.pk])).content.decode()
    assert director.post(address, typed_need(chamber, banks=[make.bank().pk], gas="O2")).status_code == 422
    assert director.post(address, typed_need(chamber, banks=[bank.pk], gas="O2")).status_code == 302


def test_a_need_that_a_plan_in_force_rests_on_cannot_be_retired(chamber: Chamber, director: Client) -> None:
    need = need_of(chamber)
    new_plan(chamber, director, needs=[need.pk])
    address = reverse("treatments:retire_need", args=[chamber.site.key, need.pk])
    refused = director.post(address, {"reason": "not wanted"})
    assert refused.status_code == 422
    assert "rest on it" in refused.content.decode()
    plan = Plan.objects.get()
    assert (
        director.post(
            reverse("treatments:retire_plan", args=[chamber.site.key, plan.pk]), {"reason": "no longer run"}
        ).status_code
        == 302
    )
    assert director.post(address, {"reason": "not wanted"}).status_code == 302
    need.refresh_from_db()
    assert need.retired_reason == "not wanted"


@pytest.mark.parametrize("name", ["new_plan", "add_need"])
def test_only_who_may_change_rules_reaches_the_editors(chamber: Chamber, name: str) -> None:
    address = reverse(f"treatments:{name}", args=[chamber.site.key])
    assert signed_in(make.user(chamber.site, "supervisor")).get(address).status_code == 403
    assert signed_in(make.user(make.site(), "director")).get(address).status_code == 404
    assert reverse("accounts:login") in Client().get(address).headers["Location"]


@pytest.mark.parametrize("name", ["plans", "needs", "plan", "need"])
def test_the_pages_take_few_queries(
    chamber: Chamber, director: Client, name: str, django_assert_max_num_queries: Any
) -> None:
    need = need_of(chamber)
    new_plan(chamber, director, needs=[need.pk])
    arguments = {"plan": [Plan.objects.get().pk], "need": [need.pk]}.get(name, [])
    address = reverse(f"treatments:{name}", args=[chamber.site.key, *arguments])
    with django_assert_max_num_queries(12) as few:
        assert director.get(address).status_code == 200
    count = len(few)
    for number in range(4):
        new_plan(chamber, director, needs=[need_of(chamber, f"more-{number}").pk], key=f"table-{number}")
    with django_assert_max_num_queries(count):
        director.get(address)
