"""The page of the keys: what signs here, what was taken outside, and what a fault or a lost key asks for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.test import Client

from facility import services
from facility.accounts.password_form import PROVEN
from facility.models import Event, HouseRule, Job, KeyUse, SigningKey, User
from facility.trust import chain, checkpoints, copies, faults, keys, looking
from tests import make
from tests.trust.conftest import folder, signed, tampering

__all__ = ["folder", "signed", "tampering"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("folder")]
PAGE, BACKEND = "/box/keys/", "django.contrib.auth.backends.ModelBackend"


@pytest.fixture
def client() -> Client:
    """A client in which a first account is signed in."""
    account = User.objects.create(username="first", is_superuser=True)
    account.set_password(make.PASSWORD)
    account.save()
    found = Client()
    found.force_login(account, BACKEND)
    return found


def shown(client: Client, page: str = PAGE) -> str:
    answer = client.get(page)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def sent(**more: str) -> dict[str, str]:
    return {"reason": "the box was opened", "password": make.PASSWORD} | more


def test_each_key_has_its_use_fingerprint_in_groups_and_who_signed_it_on(
    client: Client, django_capture_on_commit_callbacks: Any
) -> None:
    keys.ensure()
    with django_capture_on_commit_callbacks(execute=True):
        keys.rotate(KeyUse.LOG, by=make.BY, reason="due")
    page = shown(client)
    for key in keys.all_public():
        assert chain.grouped(key.fingerprint) in page
    old = next(key for key in keys.all_public() if key.use == "log")
    assert f"{chain.grouped(old.fingerprint[:16])} …" in page
    assert page.count("nobody, it is the first") == 2
    assert "vouches for it" in page
    assert "chain of keys is broken" not in page


def test_the_newest_head_has_its_code_and_where_copies_went(client: Client, signed: Any, tmp_path: Path) -> None:
    page = shown(client)
    assert "None yet: one is signed at each sign-off" in page
    row = signed()
    assert "No head was ever taken out of this machine." in shown(client)
    copies.write_beside(tmp_path)
    page = shown(client)
    assert checkpoints.short_code(bytes(row.root)) in page
    assert f"has the head of {row.size} events since" in page
    assert str(tmp_path) in page


def test_a_key_is_passed_on_with_reason_and_password(client: Client, django_capture_on_commit_callbacks: Any) -> None:
    keys.ensure()
    assert "Old and new key both sign" in shown(client, f"{PAGE}new/log/")
    with django_capture_on_commit_callbacks(execute=True):
        assert client.post(f"{PAGE}new/log/", sent()).status_code == 302
    new = keys.in_use(KeyUse.LOG)
    assert new is not None
    event = Event.objects.filter(action="key put in use").latest("seq")
    assert (event.actor, event.reason) == ("first", "the box was opened")
    assert chain.grouped(new.fingerprint) in shown(client)
    assert Job.objects.filter(kind="checkpoint").exists(), "a head under the new key is asked for"


@pytest.mark.parametrize("wrong", [{"password": "guess"}, {"reason": " "}])
def test_without_the_password_or_a_reason_no_key_is_made_and_the_reason_stays_typed(
    client: Client, wrong: dict[str, str]
) -> None:
    keys.ensure()
    answer = client.post(f"{PAGE}new/log/", sent(**wrong))
    assert answer.status_code == 422
    assert ("the box was opened" in answer.content.decode()) is ("reason" not in wrong)
    assert SigningKey.objects.count() == 2


def test_a_second_proof_is_asked_as_soon_as_one_site_asks_for_it(client: Client) -> None:
    keys.ensure()
    rule = HouseRule(site=make.site(), key="second_proof_to_sign", value=1, approved_by="x", in_force_from=make.NOON)
    services.add(rule, by=make.BY)
    assert "nobody signs here with a password alone" in client.post(f"{PAGE}new/log/", sent()).content.decode()
    assert SigningKey.objects.count() == 2
    session = client.session
    session[PROVEN] = "now"
    session.save()
    assert client.post(f"{PAGE}new/log/", sent()).status_code == 302


def test_a_lost_key_is_begun_anew_only_by_who_knows_what_that_means_and_the_page_never_hides_it(
    client: Client, folder: Path, django_capture_on_commit_callbacks: Any
) -> None:
    keys.ensure()
    old = next(key for key in keys.all_public() if key.use == "log")
    (folder / "box-key").unlink()
    looking.check_start(quick=True)
    page = shown(client)
    assert "is not the one in" in page
    assert "Only if there is none, begin a new one." in page
    assert "The chain of keys ends here" in shown(client, f"{PAGE}new/log/")
    assert client.post(f"{PAGE}new/log/", sent()).status_code == 422
    assert SigningKey.objects.count() == 2
    with django_capture_on_commit_callbacks(execute=True):
        assert client.post(f"{PAGE}new/log/", sent(sure="on")).status_code == 302
    looking.check_start()
    page = shown(client)
    assert "The chain of keys is broken" in page
    assert f"nobody: {chain.grouped(old.fingerprint[:16])} was lost" in page
    assert faults.standing() == []


def test_a_fault_of_the_log_is_answered_with_a_reason_and_the_answer_stays_on_the_page(
    client: Client, signed: Any, tampering: Any
) -> None:
    make.site()
    size = signed().size
    tampering("DELETE FROM facility_event WHERE seq > %s", 2)
    client.post(f"{PAGE}look/")
    assert f"shorter than checkpoint {size}" in shown(client)
    assert f"shorter than checkpoint {size}" in shown(client, f"{PAGE}answer/")
    assert client.post(f"{PAGE}answer/", sent(password="guess")).status_code == 422
    assert faults.standing() != []
    assert client.post(f"{PAGE}answer/", sent(reason="Backup put back")).status_code == 302
    page = shown(client)
    assert "Backup put back" in page
    assert faults.standing() == []
    again = client.post(f"{PAGE}answer/", sent())
    assert again.status_code == 422
    assert "no signed head contradicts" in again.content.decode()


def test_who_is_no_first_account_sees_nothing_and_makes_nothing() -> None:
    keys.ensure()
    other = Client()
    other.force_login(make.user(make.site(), "director"), BACKEND)
    for page in (PAGE, f"{PAGE}new/log/", f"{PAGE}answer/"):
        assert other.get(page).status_code == 403
    for page in (f"{PAGE}new/log/", f"{PAGE}answer/", f"{PAGE}look/"):
        assert other.post(page, sent()).status_code == 403
    assert SigningKey.objects.count() == 2


def test_an_unknown_use_is_no_page(client: Client) -> None:
    assert client.get(f"{PAGE}new/other/").status_code == 404
