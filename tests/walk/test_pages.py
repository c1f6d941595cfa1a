"""The pages of a check: who may, what a refusal says, what a page without script can do."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from facility import events
from facility.compute.sheets import Typed
from facility.models import Answer, Check, CheckState, SiteRole
from facility.walk.sheet_services import VersionDraft, save_version
from tests import make
from tests.walk.conftest import client_of
from tests.walk.walking import World, all_good, begin, give, sign, world

pytestmark = pytest.mark.django_db
JSON: dict[str, Any] = {"content_type": "application/json", "headers": {"accept": "application/json"}}


def at(w: World, name: str, *more: object) -> str:
    return reverse(f"walk:{name}", args=[w.site.key, *more])


def post_answer(client: Client, w: World, check: Check, **entry: Any) -> Any:
    return client.post(at(w, "answer", check.pk), {"client_id": str(uuid.uuid4())} | entry, **JSON)


@pytest.fixture
def supervisor(w: World) -> Client:
    client = Client()
    client.force_login(w.user)
    return client


SEES = ["log", "every", "sheets"]


@pytest.mark.parametrize("role", list(SiteRole.values))
def test_everyone_with_a_role_sees_what_was_checked(w: World, role: str) -> None:
    check = begin(w)
    client = client_of(w, role)
    pages = [at(w, name) for name in SEES] + [
        at(w, "sheet", w.sheet.pk),
        at(w, "blank", w.sheet.pk, 1),
        at(w, "check", check.pk),
        at(w, "sign", check.pk),
    ]
    assert [client.get(page).status_code for page in pages] == [200] * len(pages)


@pytest.mark.parametrize(
    ("role", "may"),
    [("supervisor", True), ("operator", True), ("tender", True), ("maintainer", True), ("director", True), ("physician", False), ("inspector", False)],
)  # fmt: skip
def test_who_may_answer(w: World, role: str, may: bool) -> None:
    check = begin(w)
    client = client_of(w, role)
    assert client.get(at(w, "start", w.sheet.pk)).status_code == (200 if may else 403)
    assert client.get(at(w, "station", check.pk, 1)).status_code == (200 if may else 403)
    assert post_answer(client, w, check, step="door", outcome="good").status_code == (200 if may else 403)
    assert Answer.objects.count() == int(may)


@pytest.mark.parametrize(
    ("role", "may"),
    [("supervisor", True), ("operator", True), ("director", True), ("tender", False), ("maintainer", False)],
)
def test_who_may_sign(w: World, role: str, may: bool) -> None:
    check = begin(w)
    all_good(w, check)
    client = client_of(w, role)
    page = client.get(at(w, "sign", check.pk))
    assert (b'name="password"' in page.content) is may
    answer = client.post(at(w, "sign", check.pk), {"shown": page.context["shown"].page, "password": make.PASSWORD})
    assert answer.status_code == (302 if may else 403)
    check.refresh_from_db()
    assert (check.state == CheckState.SIGNED) is may


@pytest.mark.parametrize(("role", "may"), [("director", True), ("supervisor", False), ("operator", False)])
def test_who_may_change_a_sheet(w: World, role: str, may: bool) -> None:
    client = client_of(w, role)
    assert client.get(at(w, "edit", w.sheet.pk)).status_code == (200 if may else 403)
    assert client.post(at(w, "sheets"), {"title": ""}).status_code == (422 if may else 403)


def test_nobody_is_sent_to_the_door_and_a_stranger_finds_nothing(w: World) -> None:
    check = begin(w)
    pages = [at(w, name) for name in SEES] + [
        at(w, "check", check.pk),
        at(w, "paper", w.sheet.pk, 1),
        at(w, "edit", w.sheet.pk),
    ]
    nobody, stranger = Client(), client_of(world(), "director")
    for page in pages:
        assert nobody.get(page).status_code == 302
        assert stranger.get(page).status_code == 404
    assert post_answer(stranger, w, check, step="door", outcome="good").status_code == 404
    assert post_answer(nobody, w, check, step="door", outcome="good").status_code == 302


def test_a_check_of_another_site_is_not_found(w: World, supervisor: Client) -> None:
    other = world()
    check = begin(other)
    for name in ("check", "sign", "give_up"):
        assert supervisor.get(at(w, name, check.pk)).status_code == 404
    assert post_answer(supervisor, w, check, step="door", outcome="good").status_code == 404
    assert supervisor.post(at(w, "leave", check.pk)).status_code == 404


def test_beginning_again_resumes_and_names_the_step_before(w: World, supervisor: Client) -> None:
    supervisor.post(at(w, "start", w.sheet.pk))
    check = Check.objects.get()
    post_answer(supervisor, w, check, step="door", outcome="good")
    post_answer(supervisor, w, check, step="supply", value="8.1")
    supervisor.post(at(w, "leave", check.pk))
    again = supervisor.post(at(w, "start", w.sheet.pk), follow=True)
    text = again.content.decode()
    assert Check.objects.count() == 1
    assert "Look again at the one before: “Oxygen supply”" in text
    assert "2 of 2: Inside" in text


def test_a_failed_reading_says_how_far_what_rests_on_it_and_leads_to_the_defect() -> None:
    from facility.services import add
    from treatments.models import Need, NeedMember, Plan

    w = world(steps=[make.STEPS[1] | {"tag": "OX-R1"}])
    item = make.equipment(w.site, tag="OX-R1")
    need = add(Need(chamber=w.sheet.chamber, key="oxygen", name="Oxygen to the masks"), by=make.BY)
    add(NeedMember(need=need, equipment=item), by=make.BY)
    plan = Plan(
        chamber=w.sheet.chamber, key="six", name="Table 6", party="1", table_min=285, margin_min=30, wait_min=0,
        approved_by="x", in_force_from=events.now(),
    )  # fmt: skip
    add(plan, by=make.BY).needs.add(need)
    client = client_of(w, "tender")
    check = begin(w)
    html = post_answer(client, w, check, step="supply", value="6,9").json()["html"]
    for words in (
        "0.6 bar below.",
        "Rests on it: Oxygen to the masks.",
        "Touched: Table 6.",
        "The check fails by it.",
        "Raise defect, tag out",
    ):
        assert words in html
    assert f"/defects/raise/?answer={Answer.objects.get().pk}" in html


def test_the_last_value_stands_beside_and_nothing_is_filled_in(w: World, supervisor: Client) -> None:
    first = begin(w)
    all_good(w, first)
    sign(w, first)
    check = begin(w)
    page = supervisor.get(at(w, "station", check.pk, 1)).content.decode()
    assert "last 8.1," in page
    assert 'value="8.1"' not in page


def test_a_page_without_script_stores_refuses_and_asks(w: World, supervisor: Client) -> None:
    check = begin(w)
    address = at(w, "answer", check.pk)
    entry = {"client_id": str(uuid.uuid4()), "step": "supply", "value": "1,234", "note": "hot"}
    refused = supervisor.post(address, entry)
    assert refused.status_code == 422
    text = refused.content.decode()
    assert "thousand separator" in text
    assert 'value="1,234"' in text
    assert 'value="hot"' in text
    assert "<title>Error:" in text
    asked = supervisor.post(address, entry | {"value": "3000"})
    assert asked.status_code == 409
    assert 'name="sure"' in asked.content.decode()
    assert "It is right, record" in asked.content.decode()
    stored = supervisor.post(address, entry | {"value": "8,1"})
    assert stored.status_code == 302
    assert stored["Location"].endswith("/1/#s-door")
    assert Answer.objects.get().note == "hot"


def test_a_script_hears_why_and_whether_to_ask(w: World, supervisor: Client) -> None:
    check = begin(w)
    asked = post_answer(supervisor, w, check, step="supply", value="3000")
    assert asked.status_code == 409
    assert asked.json()["ask"]
    assert "3000 bar?" in asked.json()["sentence"]
    wrong = post_answer(supervisor, w, check, step="supply", value="8 psi")
    assert wrong.status_code == 422
    assert not wrong.json()["ask"]
    assert "is read in bar" in wrong.json()["sentence"]
    done = post_answer(supervisor, w, check, step="supply", value="3000", sure=True).json()
    assert (done["stored"], done["step"], done["done"], done["of"]) == (True, "supply", 1, 4)


def test_a_repeat_over_the_line_is_stored_once(w: World, supervisor: Client) -> None:
    check = begin(w)
    key = str(uuid.uuid4())
    first = post_answer(supervisor, w, check, client_id=key, step="supply", value="8.1").json()
    again = post_answer(supervisor, w, check, client_id=key, step="supply", value="8.1", seconds_ago=40).json()
    assert (first["repeat"], again["repeat"], first["entry"] == again["entry"]) == (False, True, True)
    assert Answer.objects.count() == 1


@pytest.mark.parametrize("body", ["", "{", "[1]", '"x"', "null", "{}", '{"step": {"a": 1}}'])
def test_what_cannot_be_read_is_refused_in_words(w: World, supervisor: Client, body: str) -> None:
    check = begin(w)
    answer = supervisor.post(at(w, "answer", check.pk), body, **JSON)
    assert answer.status_code == 422
    assert answer.json()["sentence"]


def test_what_another_account_entered_here_is_not_sent_in_my_name(w: World, supervisor: Client) -> None:
    check = begin(w)
    other = make.user(w.site, "tender")
    answer = post_answer(supervisor, w, check, step="door", outcome="good", by=other.pk)
    assert answer.status_code == 422
    assert "another account" in answer.json()["sentence"]
    assert not Answer.objects.exists()


def test_a_forged_time_of_storing_is_ignored(w: World, supervisor: Client) -> None:
    check = begin(w)
    before = events.now()
    post_answer(
        supervisor,
        w,
        check,
        step="door",
        outcome="good",
        recorded_at="2001-01-01T00:00:00Z",
        occurred_at="2001-01-01T00:00:00Z",
    )
    stored = Answer.objects.get()
    assert stored.recorded_at >= before
    assert stored.occurred_at is not None
    assert stored.occurred_at >= before


def test_a_changed_sheet_is_announced_in_the_open_check(w: World, supervisor: Client) -> None:
    check = begin(w)
    save_version(w.sheet, VersionDraft(make.STEPS[:1], "Ina Test", events.now(), "shorter", 1), by=w.by)
    text = supervisor.get(at(w, "check", check.pk)).content.decode()
    assert "version 2 is in force" in text
    assert "This check keeps version 1" in text
    supervisor.post(at(w, "give_up", check.pk), {"reason": "new version"})
    supervisor.post(at(w, "start", w.sheet.pk))
    assert Check.objects.get(state=CheckState.OPEN).version.version == 2


def test_an_item_out_of_service_says_so_and_is_answered_so() -> None:
    from facility.services import add
    from maintenance.models import Defect

    w = world(steps=[make.STEPS[0] | {"tag": "IL-D1"}])
    item = make.equipment(w.site, tag="IL-D1")
    add(Defect(site=w.site, number=147, equipment=item, what="cut", effect="stops", found_at=events.now()), by=w.by)
    check = begin(w)
    client = client_of(w, "tender")
    assert "tag 147 since" in client.get(at(w, "check", check.pk)).content.decode()
    assert "Out of service" in post_answer(client, w, check, step="door", outcome="not_fitted").json()["html"]


def test_correcting_a_slip_on_the_page(w: World, supervisor: Client) -> None:
    check = begin(w)
    old = give(w, check, "supply", Typed(value="81")).answer
    address = at(w, "correct", check.pk, old.pk)
    entry = {"client_id": str(uuid.uuid4()), "value": "8,1", "reason": "point left out"}
    assert supervisor.post(address, entry | {"reason": ""}).status_code == 422
    done = supervisor.post(address, entry, follow=True).content.decode()
    assert "<s>81 bar</s>" in done
    assert "point left out" in done


@pytest.mark.parametrize("body", ["[" * 100_000, '{"step": "door", "outcome": "good", "note": "\\ud800"}'])
def test_json_that_nothing_could_store_is_refused_in_words(w: World, supervisor: Client, body: str) -> None:
    """Nested past any stack, and half of a character (RFC 8259 section 8.2)."""
    check = begin(w)
    answer = supervisor.post(at(w, "answer", check.pk), body, **JSON)
    assert answer.status_code == 422
    assert "Load the page again" in answer.json()["sentence"]
    assert not Answer.objects.exists()
