"""Looking back and signing on the page: refusals lose nothing, the second signer hears of the first."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from facility.compute.sheets import Typed
from facility.models import Answer, Check, CheckState
from tests import make
from tests.walk.conftest import client_of
from tests.walk.walking import World, all_good, begin, give, sign

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


def test_a_wrong_password_signs_nothing_and_loses_nothing(w: World, supervisor: Client) -> None:
    check = begin(w)
    all_good(w, check)
    page = supervisor.get(at(w, "sign", check.pk))
    refused = supervisor.post(at(w, "sign", check.pk), {"shown": page.context["shown"].page, "password": "wrong"})
    assert refused.status_code == 422
    assert "is not the password of" in refused.content.decode()
    assert Answer.objects.count() == 4
    check.refresh_from_db()
    assert check.state == CheckState.OPEN


def test_wrong_passwords_are_counted_like_at_the_door(w: World, supervisor: Client, settings: Any) -> None:
    check = begin(w)
    tries = [
        supervisor.post(at(w, "sign", check.pk), {"shown": "0" * 64, "password": f"wrong {n}"}).status_code
        for n in range(settings.AXES_FAILURE_LIMIT)
    ]
    assert tries[-1] in (403, 429)
    page = supervisor.get(at(w, "sign", check.pk))
    right = supervisor.post(at(w, "sign", check.pk), {"shown": page.context["shown"].page, "password": make.PASSWORD})
    assert right.status_code in (403, 429)


def test_what_came_between_look_and_signature_is_shown_beside(w: World, supervisor: Client) -> None:
    check = begin(w)
    all_good(w, check)
    page = supervisor.get(at(w, "sign", check.pk))
    give(w, check, "supply", Typed(value="6.9"))
    entry = {"shown": page.context["shown"].page, "seen": page.context["seen_now"], "password": make.PASSWORD}
    refused = supervisor.post(at(w, "sign", check.pk), entry)
    text = refused.content.decode()
    assert refused.status_code == 409
    assert "Not signed: the check changed" in text
    assert "New since you looked" in text
    assert [item.step.key for item in refused.context["new"]] == ["supply"]
    again = supervisor.post(
        at(w, "sign", check.pk), {"shown": refused.context["shown"].page, "password": make.PASSWORD}
    )
    assert again.status_code == 302


def test_the_second_signer_reads_who_was_first(w: World, supervisor: Client) -> None:
    check = begin(w)
    all_good(w, check)
    shown = supervisor.get(at(w, "sign", check.pk)).context["shown"].page
    sign(w, check)
    other = client_of(w, "operator")
    page = other.post(at(w, "sign", check.pk), {"shown": shown, "password": make.PASSWORD}, follow=True)
    assert f"is already signed by {w.user} at" in page.content.decode()


def test_looking_back_puts_open_failed_and_unread_first(w: World, supervisor: Client) -> None:
    check = begin(w)
    give(w, check, "supply", Typed(value="6.9"))
    give(w, check, "door", Typed("unread"))
    give(w, check, "place", Typed(choice="nothing"))
    context = supervisor.get(at(w, "sign", check.pk)).context
    names = ("open_items", "bad", "unread", "not_fitted", "good")
    assert [[item.step.key for item in context[name]] for name in names] == [
        ["speech"],
        ["supply"],
        ["door"],
        [],
        ["place"],
    ]
    text = supervisor.get(at(w, "sign", check.pk)).content.decode()
    assert (
        text.index("Open, not looked at") < text.index("Outside limits, not in order") < text.index("Could not read:")
    )
    assert "Ready" not in text


def test_after_signing_the_entry_number_is_told_and_the_page_leads_to_now(w: World, supervisor: Client) -> None:
    check = begin(w)
    all_good(w, check)
    shown = supervisor.get(at(w, "sign", check.pk)).context["shown"].page
    page = supervisor.post(at(w, "sign", check.pk), {"shown": shown, "password": make.PASSWORD}, follow=True)
    text = page.content.decode()
    assert "Stored, entry no." in text
    assert f"/{w.site.key}/now/" in text


def test_a_void_signature_is_shown_as_void(w: World, supervisor: Client) -> None:
    from django.db import connection

    check = begin(w)
    all_good(w, check)
    sign(w, check)
    assert "void" not in supervisor.get(at(w, "check", check.pk)).content.decode()
    with connection.cursor() as cursor:
        cursor.execute("UPDATE facility_answer SET outcome = 'good', value = '8.9' WHERE step = 'supply'")
    assert "The signature is void" in supervisor.get(at(w, "check", check.pk)).content.decode()


def test_the_log_tells_when_a_check_runs_out(w: World, supervisor: Client) -> None:
    check = begin(w)
    all_good(w, check)
    sign(w, check)
    unfinished = begin(w)
    text = supervisor.get(at(w, "log")).content.decode()
    assert "good until" in text
    assert f"signed by {w.user}" in text
    assert f"C-{unfinished.number}" in text


def test_text_from_people_is_never_markup(supervisor: Client, w: World) -> None:
    check = begin(w)
    nasty = "<script>alert(1)</script>"
    html = post_answer(supervisor, w, check, step="door", outcome="bad", note=nasty).json()["html"]
    assert nasty not in html
    assert "&lt;script&gt;" in html
    assert nasty not in supervisor.get(at(w, "sign", check.pk)).content.decode()


def test_pages_carry_no_inline_style_or_script(w: World, supervisor: Client) -> None:
    check = begin(w)
    for page in (at(w, "check", check.pk), at(w, "sign", check.pk), at(w, "log"), at(w, "blank", w.sheet.pk, 1)):
        text = supervisor.get(page).content.decode()
        assert " style=" not in text
        assert "<style" not in text
        assert "onclick" not in text
        assert text.count("<script") == text.count('<script type="module" src=')
